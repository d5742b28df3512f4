"""Vosk models: where they lie, whether they are whole, and how to get one.

Vosk is a recogniser for a model of one's own choice; no English model comes in a registry package, so one is put in
place by hand or with `fieldaid models fetch` where there is a network. How well a model hears this grammar in English
has not been measured; what counts is measured on the place's own machine with its own voices.

By hand
    1. `python3 -m pip install 'fieldaid[vosk]'`
    2. On a machine with a network fetch the archive (`fieldaid models` shows names, sizes, licences, checksums and
       the address), compare its checksum (`sha256sum FILE`), carry it over.
    3. Unpack it (`unzip FILE -d ~/.cache/vosk`), so that the folder ~/.cache/vosk/NAME holds `am`, `conf`, `graph`.
    4. `fieldaid models check ~/.cache/vosk/NAME`

A model is looked for in this order: the option; the environment variable FIELDAID_VOSK_MODEL; the first line of the
file fieldaid/vosk-model in the user's settings ($XDG_CONFIG_HOME, ~/.config) (each names a folder or a model found);
then English models in the places that Vosk itself looks in ($VOSK_MODEL_PATH, /usr/share/vosk, ~/.cache/vosk) and in
installed packages named vosk-model-…. A model of another language is used only when named.

Models with a fixed graph (graph/HCLG.fst: the large ones) take no phrase list; those with graph/HCLr.fst and Gr.fst
("small" and "lgraph") do, and are preferred.
"""

from __future__ import annotations

import importlib.metadata
import importlib.util
import json
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from fieldaid.errors import BrokenData, FieldaidError, Finding, WrongUse
from fieldaid.hearing.vosk_process import CHILD

VARIABLE = "FIELDAID_VOSK_MODEL"
PAGE = "https://alphacephei.com/vosk/models"
INSTALL = "python3 -m pip install 'fieldaid[vosk]'"
FETCH_S = 3600.0
_FST_MAGIC = (2125659606).to_bytes(4, "little")
"""The first four bytes of every OpenFst file (kFstMagicNumber in OpenFst's fst.cc)."""
_KALDI_STARTS = (b"\0B", b"<Tran")
"""A Kaldi model file in binary, or as text."""


@dataclass(frozen=True)
class Published:
    """What is published about a model. `sha256` is of the archive; "" where none is known here.

    Sizes, licences and word error rates (LibriSpeech test-clean) are those of Vosk's own page (PAGE), as repositories
    that install the models quote it. The checksum of the small one is the one in the pointer file of a public mirror
    (rhasspy/vosk-models) and in install scripts that pin it; all agree. None was verified here against the archive.
    """

    name: str
    size: str
    licence: str
    word_errors_percent: float
    sha256: str = ""
    bytes: int = 0


PUBLISHED = (
    Published("vosk-model-small-en-us-0.15", "40 MB", "Apache-2.0", 9.85,
              "30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498", 41_205_931),
    Published("vosk-model-en-us-0.22-lgraph", "128 MB", "Apache-2.0", 7.82),
)


@dataclass(frozen=True)
class Place:
    """A place where models are looked for; `state` says what is there."""

    name: str
    state: str


@dataclass(frozen=True)
class Found:
    """A model folder. `language` is told from the name ("en-us", "ko"); "" when the name does not tell."""

    name: str
    folder: Path
    place: str
    language: str

    @property
    def english(self) -> bool:
        return self.language == "en" or self.language.startswith("en-")


def is_installed() -> bool:
    """Whether the package can be found. It may still fail to load: the process that holds it finds that out."""
    return importlib.util.find_spec("vosk") is not None


def cache() -> Path:
    """The user's own folder of Vosk models."""
    return Path.home() / ".cache" / "vosk"


def settings() -> Path:
    """The file whose first line names a model."""
    return Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config") / "fieldaid" / "vosk-model"


def configured() -> str | None:
    """The model that the user's settings name, or None."""
    try:
        lines = settings().read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return None
    return (lines[0].strip() if lines else "") or None


def survey() -> tuple[list[Place], list[Found]]:
    """Where was looked and what was found, in the order of preference."""
    places, found = [], []
    given = os.environ.get(VARIABLE)
    places.append(Place(f"${VARIABLE}", f"{given}" if given else "not set"))
    if given and Path(given).is_dir():
        found.append(Found(Path(given).name, Path(given), f"${VARIABLE}", _language(Path(given).name)))
    named = configured()
    places.append(Place(str(settings()), named or ("no such file" if not settings().exists() else "names nothing")))
    if named and Path(named).expanduser().is_dir():
        folder = Path(named).expanduser()
        found.append(Found(folder.name, folder, str(settings()), _language(folder.name)))
    own = os.environ.get("VOSK_MODEL_PATH")
    if not own:
        places.append(Place("$VOSK_MODEL_PATH", "not set"))
    for folder in [*([Path(own)] if own else []), Path("/usr/share/vosk"), cache()]:
        name = "$VOSK_MODEL_PATH" if own and folder == Path(own) else str(folder)
        if not folder.is_dir():
            places.append(Place(name, "no such folder"))
            continue
        here = [Found(one.name, one, name, _language(one.name))
                for one in sorted(folder.glob("vosk-model*")) if one.is_dir()]
        places.append(Place(name, f"{len(here)} found"))
        found += here
    packages = list(_packages())
    places.append(Place("installed packages vosk-model-…", f"{len(packages)} found"))
    return places, found + packages


def choose(model: str | os.PathLike[str] | None = None) -> Path:
    """The folder of the model to use: `model`, the environment variable, the user's settings, else the first whole
    English one found, one that takes a phrase list before one that does not.

    Raises
    ------
    WrongUse : none is named and no English one found, or the name leads nowhere
    BrokenData : files of the model named are missing or damaged
    """
    _, found = survey()
    named = model if model is not None else os.environ.get(VARIABLE) or configured()
    if named is not None:
        folder = Path(named).expanduser()
        if not folder.is_dir():
            folder = next((one.folder for one in found if one.name == str(named)), folder)
        if not folder.is_dir():
            raise WrongUse("there is no such Vosk model", where=str(named),
                           why="it is neither a folder nor the name of a model found",
                           next_step="fieldaid models lists what is found and says how to get one")
        require_whole(folder)
        return folder
    whole = [one.folder for one in found if one.english and not findings(one.folder)]
    if not whole:
        raise WrongUse("no English Vosk model was found",
                       why=f"{len(found)} model(s) were found, none of them whole and English by its name",
                       next_step="fieldaid models says how to get one; or name a folder with --model")
    return next((folder for folder in whole if takes_phrases(folder)), whole[0])


def is_named() -> bool:
    """Whether the environment or the user's settings name a model."""
    return bool(os.environ.get(VARIABLE) or configured())


def is_at_hand() -> bool:
    """Whether Vosk can be used without another word: the package is there, and a model is named or found."""
    if not is_installed():
        return False
    try:
        choose()
    except FieldaidError:
        return False
    return True


def require_whole(folder: Path) -> None:
    """Raises BrokenData when files of the model are missing or damaged; all of them are listed."""
    if found := findings(folder):
        raise BrokenData("the Vosk model cannot be used", found, where=str(folder),
                         why="the library would break off or crash on it",
                         next_step="unpack the archive again after comparing its checksum; see fieldaid models")


def takes_phrases(folder: Path) -> bool:
    """Whether the model's graph is put together at run time, so that a phrase list narrows it."""
    graph = _graph(folder)
    return not (graph / "HCLG.fst").exists() and (graph / "HCLr.fst").exists()


def made_for_rate(folder: Path) -> int:
    """Samples a second of the sound that the model was trained on; 16000 unless its settings say otherwise."""
    try:
        text = ((folder if _flat(folder) else folder / "conf") / "mfcc.conf").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return 16000
    told = re.search(r"^--sample-frequency=(\d+)", text, re.MULTILINE)
    return int(told[1]) if told else 16000


def findings(folder: Path) -> list[Finding]:
    """What is wrong with the files of a model, without loading it: missing, empty, or something else inside."""
    if not folder.is_dir():
        return [Finding(str(folder), 0, 0, "VOSK-001", "there is no such folder", "name the unpacked model")]
    inner = [one for one in folder.iterdir() if (one / "am" / "final.mdl").exists()]
    if not (folder / "am").exists() and not (folder / "final.mdl").exists():
        hint = f"the model lies one folder deeper: name {inner[0]}" if inner else "name the folder that holds am, conf"
        return [Finding(str(folder), 0, 0, "VOSK-002", "it holds no model: am/final.mdl is missing", hint)]
    found = []
    for path in _needed(folder):
        if not path.is_file():
            found.append(Finding(str(path), 0, 0, "VOSK-003", "the file is missing", "unpack the archive again"))
        elif wrong := _wrong_inside(path):
            found.append(Finding(str(path), 0, 0, "VOSK-004", wrong, "fetch the archive again, compare its checksum"))
    return found


def fetch(name: str) -> tuple[Path, list[str]]:
    """Fetch a model into the user's folder with Vosk's own downloader. Returns its folder, and the kinds of checksum
    that were compared before it was unpacked.

    $FIELDAID_VOSK_MIRROR may name a department's own copy of Vosk's model folder, ending in "/".

    Raises
    ------
    WrongUse : no such name, or the package is missing
    FieldaidError : no network, or it broke off, or the checksum differs; nothing half-fetched stays
    """
    if not re.fullmatch(r"vosk-model[A-Za-z0-9._-]*", name):
        raise WrongUse("this is not the name of a Vosk model", where=name, why="they begin with vosk-model",
                       next_step=f"use one of: {', '.join(one.name for one in PUBLISHED)}")
    if not is_installed():
        raise missing_package()
    target = cache() / name
    if target.exists():
        require_whole(target)
        return target, []
    known = next((one.sha256 for one in PUBLISHED if one.name == name), "")
    try:
        # Its progress bar goes to a person; a script's error output stays clean.
        run = subprocess.run([sys.executable, "-P", str(CHILD), "fetch", name, str(target.parent)],
                             env={**os.environ, "FIELDAID_VOSK_SHA256": known}, stdin=subprocess.DEVNULL,
                             stdout=subprocess.PIPE, stderr=None if sys.stderr.isatty() else subprocess.DEVNULL,
                             timeout=FETCH_S, check=False)
        answer = json.loads(run.stdout.splitlines()[-1])
    except (subprocess.TimeoutExpired, IndexError, ValueError):
        answer = {"failed": "broken off", "why": "the downloader gave no answer"}
    if "fetched" in answer:
        require_whole(Path(answer["fetched"]))
        return Path(answer["fetched"]), list(answer["compared"])
    raise _not_fetched(name, answer)


def missing_package() -> WrongUse:
    return WrongUse("the recogniser vosk cannot be used", why="the package vosk is not installed", next_step=INSTALL)


def _not_fetched(name: str, answer: dict) -> FieldaidError:
    failed, why = answer.get("failed"), str(answer.get("why", ""))
    if failed == "not listed":
        return WrongUse("Vosk does not list this model", where=name,
                        why=f"the English ones it lists: {', '.join(answer.get('listed', [])) or 'none'}",
                        next_step="choose one of them")
    if failed == "no network":
        return FieldaidError("the model was not fetched", where=name, why=f"there is no network to fetch it ({why})",
                             next_step="install it by hand: fieldaid models says how")
    if failed == "checksum":
        return FieldaidError("the model was fetched but not kept", where=name, why=why,
                             next_step="try again; if it stays so, do not use that archive")
    return FieldaidError("the model was not fetched", where=name, why=why or str(failed),
                         next_step="try again, or install it by hand: fieldaid models says how")


def _language(name: str) -> str:
    told = re.match(r"vosk-model(?:-small)?-([a-z]{2,3}(?:-[a-z]{2})?)(?:[-_.]|$)", name)
    return told[1] if told else ""


def _packages() -> list[Found]:
    """Models that installed packages carry: a package vosk-model-NAME with a model in it or one folder deeper."""
    found = {}
    for one in importlib.metadata.distributions():
        name = str(one.metadata["Name"] or "").lower().replace("_", "-")
        if not name.startswith("vosk-model") or name in found:
            continue
        spec = importlib.util.find_spec(name.replace("-", "_"))
        for root in map(Path, (spec.submodule_search_locations or []) if spec else []):
            inside = [root, *sorted(path for path in root.iterdir() if path.is_dir())]
            model = next((path for path in inside if (path / "am" / "final.mdl").exists()), None)
            if model:
                found[name] = Found(name, model, f"package {name} {one.version}", _language(name))
    return list(found.values())


def _flat(folder: Path) -> bool:
    """The older layout, with all files in one folder."""
    return not (folder / "am").exists()


def _graph(folder: Path) -> Path:
    return folder if _flat(folder) else folder / "graph"


def _needed(folder: Path) -> list[Path]:
    """The files that the library opens, as its model.cc names them for the two layouts."""
    graph = _graph(folder)
    if _flat(folder):
        needed = [folder / "final.mdl", folder / "mfcc.conf"]
    else:
        needed = [folder / "am" / "final.mdl", folder / "conf" / "mfcc.conf", folder / "conf" / "model.conf"]
    if (graph / "HCLG.fst").exists():
        needed.append(graph / "HCLG.fst")
    else:
        needed += [graph / "HCLr.fst", graph / "Gr.fst", graph / "disambig_tid.int"]
    if (folder / "ivector").exists():
        needed += [folder / "ivector" / name for name in
                   ("final.ie", "final.dubm", "final.mat", "global_cmvn.stats", "online_cmvn.conf", "splice.conf")]
    if (folder / "rescore" / "G.carpa").exists():
        needed.append(folder / "rescore" / "G.fst")
    return needed


def _wrong_inside(path: Path) -> str:
    """What is wrong with the first bytes of a file; "" when nothing is."""
    try:
        with path.open("rb") as file:
            start = file.read(64)
    except OSError as error:
        return f"it cannot be read: {error.strerror}"
    if not start and path.name != "online_cmvn.conf":
        return "the file is empty"
    if start.startswith(b"version https://git-lfs"):
        return "it is a Git LFS pointer, not the file itself"
    if path.suffix == ".fst" and not start.startswith(_FST_MAGIC):
        return "it is not an OpenFst file"
    if path.name == "final.mdl" and not start.startswith(_KALDI_STARTS):
        return "it is not a Kaldi model"
    return ""
