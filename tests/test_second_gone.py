"""What happens when the second recogniser's process is killed: it is replaced, and when it is gone for good the person
is told once and every fact is asked back.

Outside the project: the kernel's own SIGKILL on a real process of pocketsphinx, and a demo clip, whose words are known
because a synthesiser was told to say them.
"""

from __future__ import annotations

import demo_clips
import pytest
from heard_session import heard_session
from small_grammar import small_grammar

pytest.importorskip("onnxruntime")
pytest.importorskip("pocketsphinx")

from fieldaid.errors import GoneError, SoundError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing import child
from fieldaid.hearing.child import RESTARTS, Child, Restarts
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import EVERY, Heard
from fieldaid.hearing.sphinx_words import SphinxWords
from fieldaid.hearing.two_opinions import SECOND_GONE, TwoOpinions
from fieldaid.session.doubt import take


@pytest.fixture
def second(tmp_path):
    """Of a small grammar, so that a new process is ready soon."""
    made = SphinxWords(small_grammar(tmp_path))
    yield made
    made.close()


@pytest.fixture(scope="module")
def first():
    from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser

    try:
        return LikelihoodRecogniser(load_grammar())
    except WrongUse as missing:
        pytest.skip(str(missing))


@pytest.fixture
def session(tmp_path, monkeypatch):
    monkeypatch.setenv("FIELDAID_HOME", str(tmp_path))
    with heard_session(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def clip() -> Segment:
    return demo_clips.clip("15")[0]


def kill(second: SphinxWords) -> None:
    second.wait_ready()
    second._child._process.kill()
    second._child._process.wait()


def test_a_killed_process_is_replaced_and_after_too_many_kills_in_a_row_it_is_gone(second, clip):
    before = second.hear(clip).text
    assert "west" in before
    for _ in range(RESTARTS):
        kill(second)
        with pytest.raises(SoundError, match="SIGKILL") as failure:
            second.hear(clip)
        assert not isinstance(failure.value, GoneError)
    assert second.hear(clip).text == before, "what worked again starts the count anew"
    for _ in range(RESTARTS):
        kill(second)
        with pytest.raises(SoundError):
            second.hear(clip)
    kill(second)
    with pytest.raises(GoneError, match="SIGKILL"):
        second.hear(clip)
    with pytest.raises(GoneError, match="broke off too often"):
        second.hear(clip)


def test_when_the_second_is_gone_it_is_told_once_and_every_fact_is_confirmed(first, second, session, clip):
    both = TwoOpinions(first, second)
    whole = both.hear(clip)
    assert first.grammar.parse(whole.text).facts == {"wind.from": "west"}
    assert whole.once == frozenset() and whole.notices == ()
    for _ in range(RESTARTS):
        kill(second)
        heard = both.hear(clip)
        assert heard.notices == () and heard.figures["stance"] == 0.0, "silent this time, and replaced"
    kill(second)
    for number in range(2):
        heard = both.hear(clip)
        assert first.grammar.parse(heard.text).facts == {"wind.from": "west"}, "the first hears on"
        assert heard.once == EVERY
        answer = take(session, heard)
        told = [one.text for one in answer.replies]
        assert told.count(SECOND_GONE) == (number == 0)
        assert number or any(text.startswith("Heard: ") and text.endswith("Affirm?") for text in told)
        assert session.state.expecting == "affirm", "asked, and open until it is answered"
        assert answer.data["pending"] == ["wind.from"]
    assert SECOND_GONE in both.hear(Segment(0.0, 1.0, clip.samples[:16000] * 0.0)).notices


def test_it_is_not_asked_any_more(first, clip):
    class Gone:
        name, notices, asked = "gone", (), 0

        def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
            self.asked += 1
            raise GoneError("it is gone")

        def close(self) -> None:
            pass

    gone = Gone()
    both = TwoOpinions(first, gone)
    both.hear(clip)
    both.hear(clip)
    assert gone.asked == 1


def test_a_process_that_cannot_be_started_counts_like_one_that_broke_off(second, clip, monkeypatch):
    second.wait_ready()

    def refuse(*_, **__):
        raise OSError(12, "Cannot allocate memory")

    monkeypatch.setattr(child.subprocess, "Popen", refuse)
    with pytest.raises(SoundError, match="cannot be started.*Cannot allocate memory"):
        Child(child.Path("x"), [], "the process", "here", "wait")
    kill(second)
    for _ in range(RESTARTS):
        with pytest.raises(SoundError):
            second.hear(clip)
    with pytest.raises(GoneError):
        second.hear(clip)


def test_failures_count_in_a_row_only_and_a_closed_one_stays_closed():
    one, error = Restarts("it", "here", "wait"), SoundError("it broke off")
    for _ in range(3):
        assert all(one.broke_off(error) is error for _ in range(RESTARTS))
        one.worked()
        one.check()
    one.end()
    one.worked()
    with pytest.raises(GoneError):
        one.check()
