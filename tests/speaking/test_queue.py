"""The queue before the voice, with a voice and a player that only write down what they are told.

Numbers H01-H23 name the published sources on noise, tones and machine speech:
H10 MIL-STD-1472E 5.3.3, H11 5.3.4.3.1, H12 5.3.4.3.3-5, H13 5.3.6, H14 MIL-STD-411F 5.3.6, H16 MIL-DTL-87268D
3.3.6.2, H20 hospital alarm study PMC4456276, H22 and H23 design rules derived from them.
"""

from __future__ import annotations

import threading

import numpy as np
import pytest
from waiting import within

from fieldaid import clock
from fieldaid.errors import SpeakingError, WrongUse
from fieldaid.speaking import spoken
from fieldaid.speaking.cut import Cut
from fieldaid.speaking.speaker import Speaker
from fieldaid.speaking.tone import attention


class PaperVoice:
    given_up = ""

    def __init__(self, fault: Exception | None = None):
        self.made, self.fault, self.closed = [], fault, False
        self.go = threading.Event()
        self.go.set()

    def synthesise(self, text):
        self.go.wait(10)
        if self.fault:
            raise self.fault
        self.made.append(text)
        return np.full(2205, 0.5, np.float32), 22050

    def close(self):
        self.closed = True
        self.go.set()


class PaperPlayer:
    """Each sound lasts until it is let go or cut. Tones are told by their length."""

    def __init__(self, fault: Exception | None = None):
        self.sounds, self.cuts, self.fault = [], 0, fault
        self.started = threading.Semaphore(0)
        self.go = threading.Event()
        self.go.set()

    def play(self, samples, rate, cut):
        if self.fault:
            raise self.fault
        self.sounds.append(len(samples))
        self.started.release()
        whole = cut.wait_for(self.go.is_set, 10) if self.go.is_set() else self._wait(cut)
        self.cuts += not whole
        return whole

    def _wait(self, cut):
        return within(10, lambda: cut.is_cut or self.go.is_set()) and not cut.is_cut


@pytest.fixture
def paper():
    voice, player = PaperVoice(), PaperPlayer()
    speaker = Speaker(voice=voice, player=player)
    assert speaker.ready()
    voice.made.clear()
    yield speaker, voice, player
    player.go.set()
    voice.go.set()
    speaker.close()


def test_danger_is_said_first_and_its_tone_before_it(paper):
    speaker, voice, player = paper
    speaker.say([("note", "Noted."), ("stop", "Hold cut."), ("leave", "Leave now. C.")])
    assert speaker.wait(5)
    assert voice.made == ["Leave now. Charlie.", "Hold cut.", "Noted."]
    leave, stop = (len(attention(kind, 22050)) for kind in ("leave", "stop"))
    words = 2205
    gap = 2205  # a tenth of a second between tone and words
    assert player.sounds == [leave, gap + words, stop, gap + words, words]


def test_say_returns_at_once_while_the_voice_hangs(paper):
    speaker, voice, _ = paper
    voice.go.clear()
    took = [speaker.say([("note", f"Number {n}.")]) for n in range(100)]
    assert max(took) < 1000


def test_stop_silences_within_milliseconds_and_drops_routine_lines_but_no_danger(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("note", "A long note."), ("advice", "More advice.")])
    assert player.started.acquire(timeout=5)
    watch = clock.Stopwatch()
    speaker.stop()
    assert speaker.wait(5) and player.cuts == 1
    assert watch.ms() < 250
    assert "More advice." not in voice.made


def test_leave_cuts_what_is_said_replaces_what_is_queued_and_is_never_dropped(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("note", "First."), ("stop", "Hold.")])
    assert player.started.acquire(timeout=5)
    speaker.say([("advice", "Queued.")])
    speaker.say([("leave", "Leave now. One."), ("note", "With it.")])
    assert within(5, lambda: player.cuts == 1)
    speaker.say([("leave", "Leave now. Two.")])
    speaker.say([("stop", "Hold again.")])
    player.go.set()
    assert speaker.wait(5)
    said = [text for text in voice.made if text not in ("First.", "Hold.")]
    assert said == ["Leave now. One.", "Leave now. Two.", "Hold again."]
    assert player.cuts == 1


def test_a_stop_line_cuts_a_routine_line_and_the_rest_follows(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("note", "First."), ("note", "Second.")])
    assert player.started.acquire(timeout=5)
    speaker.say([("stop", "Hold cut.")])
    assert within(5, lambda: player.cuts == 1)
    player.go.set()
    assert speaker.wait(5)
    assert voice.made == ["First.", "Hold cut.", "Second."]


def test_quiet_keeps_routine_lines_silent_and_leave_lines_spoken(paper):
    """H23: silence beats chatter while a saw runs."""
    speaker, voice, _ = paper
    speaker.mute(True)
    speaker.say([("note", "Chatter."), ("leave", "Leave now."), ("stop", "Hold.")])
    assert speaker.wait(5)
    speaker.mute(False)
    speaker.say([("note", "Heard again.")])
    assert speaker.wait(5)
    assert "Chatter." not in voice.made and {"Hold.", "Heard again."} <= set(voice.made)


def test_on_a_mayday_nothing_is_said_and_what_is_said_ends(paper):
    """H23: machine speech never talks over a mayday."""
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("leave", "Leave now. One.")])
    assert player.started.acquire(timeout=5)
    speaker.say([("leave", "Leave now. Two.")])
    speaker.mute(True, mayday=True)
    speaker.say([("leave", "Leave now. Three.")])
    assert speaker.wait(5) and player.cuts == 1 and len(player.sounds) == 1
    player.go.set()
    speaker.mute(False)
    speaker.say([("leave", "Leave now. Four.")])
    assert speaker.wait(5)
    assert "Leave now. Four." in voice.made and "Leave now. Three." not in voice.made


def test_held_routine_lines_wait_and_danger_does_not(paper):
    speaker, voice, _ = paper
    speaker.hold(True)
    speaker.say([("note", "Later.")])
    speaker.say([("stop", "Hold cut.")])
    assert not speaker.wait(0.3)
    assert voice.made == ["Hold cut."]
    speaker.hold(False)
    assert speaker.wait(5) and voice.made == ["Hold cut.", "Later."]


def test_a_routine_line_gives_way_to_somebody_who_speaks_and_a_caution_comes_again(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("caution", "Wind has shifted."), ("question", "Affirm?")])
    assert player.started.acquire(timeout=5)
    speaker.hold(True)
    speaker.give_way()
    player.go.set()
    assert within(5, lambda: not speaker.busy) and player.cuts == 1
    speaker.hold(False)
    assert speaker.wait(5)
    assert len(player.sounds) == 3, "the caution, cut; the caution again; the question"
    player.go.clear()
    speaker.say([("readback", "Wind west.")])
    assert within(5, lambda: len(player.sounds) == 4)
    speaker.give_way()
    player.go.set()
    assert speaker.wait(5) and len(player.sounds) == 4, "a read-back that is talked over is not said again"


def test_danger_does_not_give_way(paper):
    speaker, _, player = paper
    player.go.clear()
    speaker.say([("leave", "Leave now.")])
    assert player.started.acquire(timeout=5)
    speaker.give_way()
    player.go.set()
    assert speaker.wait(5) and player.cuts == 0


def test_stop_drops_waiting_leave_lines_only_of_a_caller_that_repeats_them(paper):
    speaker, voice, player = paper
    for repeated, said in ((False, ["Leave now. Charlie.", "Leave now. Delta."]), (True, ["Leave now. Charlie."])):
        voice.made.clear()
        speaker._sounds.clear()
        player.go.clear()
        speaker.say([("leave", "Leave now. C."), ("leave", "Leave now. D.")])
        assert within(5, lambda: speaker.busy and voice.made)
        speaker.stop(repeated=repeated)
        player.go.set()
        assert speaker.wait(5) and voice.made == said


def test_whoever_asks_is_told_when_a_line_begins_and_what_sounded_when(paper):
    speaker, voice, player = paper
    begun = []
    speaker.on_begin = lambda name, kind, at: begun.append((name, kind, at))
    play = player.play

    def begins(samples, rate, cut):
        cut.begin(clock.monotonic())
        return play(samples, rate, cut)

    player.play = begins
    before = clock.monotonic()
    speaker.say([("leave", "Leave now. C."), ("note", "Noted.")], name="0007")
    assert speaker.wait(5)
    after = clock.monotonic()
    assert [one[:2] for one in begun] == [("0007", "leave"), ("0007", "note")], "once a line, not once a sound"
    assert before <= begun[0][2] <= begun[1][2] <= after
    assert set(speaker.sounding.during(before, after)) == {"Leave now. Charlie.", "Noted."}
    assert speaker.sounding.during(before - 9, before - 1) == () and speaker.sounding.during(after, after + 9) == ()
    assert before <= speaker.sounding.last_end() <= after


def test_a_kind_that_does_not_exist_is_refused_by_name(paper):
    with pytest.raises(WrongUse, match="'shout'"):
        paper[0].say([("shout", "Hey.")])


def test_a_repeated_line_is_made_once(paper):
    speaker, voice, player = paper
    for _ in range(3):
        speaker.say([("leave", "Leave now. Soft deck.")])
    assert speaker.wait(5)
    assert voice.made == ["Leave now. Soft deck."] and len(player.sounds) == 6


def test_a_leave_whose_words_hang_is_said_as_leave_now(paper):
    speaker, voice, player = paper
    voice.go.clear()
    watch = clock.Stopwatch()
    speaker.say([("leave", "Leave now. Soft deck, Charlie.")])
    assert speaker.wait(5)
    assert watch.ms() < 3_000 and len(player.sounds) == 2 and voice.made == []


def test_losing_the_voice_is_said_once_and_leave_lines_keep_their_tone_and_leave_now(paper):
    speaker, voice, player = paper
    voice.fault = SpeakingError("no voice", why="the speech worker died (4 times in a row)",
                                next_step="Install it")
    voice.given_up = "the speech worker died"
    for n in range(3):
        speaker.say([("note", f"Note {n}."), ("leave", f"Leave now. Reason {n}.")])
        assert speaker.wait(5)
    assert speaker.notices == ["No voice: the speech worker died (4 times in a row); replies are shown only, "
                               "and a tone marks danger. Install it."]
    tone = len(attention("leave", 22050))
    assert len(player.sounds) == 6 and player.sounds.count(tone) == 3


def test_without_a_voice_from_the_start_danger_still_has_its_tone():
    voice = PaperVoice(SpeakingError("no voice", why="espeak-ng is not installed", next_step="Install it"))
    voice.given_up = "espeak-ng is not installed"
    player = PaperPlayer()
    with Speaker(voice=voice, player=player) as speaker:
        speaker.say([("leave", "Leave now."), ("note", "Noted.")])
        assert speaker.wait(5)
        assert player.sounds == [len(attention("leave", 22050))]
        (notice,) = speaker.notices
        assert notice.startswith("No voice: espeak-ng is not installed;")


def test_losing_the_loudspeaker_is_said_once_and_danger_tries_again():
    player = PaperPlayer(SpeakingError("no loudspeaker", why="it was unplugged", next_step="Connect one"))
    with Speaker(voice=PaperVoice(), player=player) as speaker:
        for n in range(3):
            speaker.say([("note", f"Note {n}.")])
        assert speaker.wait(5)
        assert speaker.notices == ["No loudspeaker: it was unplugged; replies are shown only. Connect one."]
        player.fault = None
        speaker.say([("leave", "Leave now.")])
        assert speaker.wait(5) and len(player.sounds) == 2


def test_routine_lines_try_a_lost_loudspeaker_again_after_a_while(monkeypatch):
    voice, player = PaperVoice(), PaperPlayer(SpeakingError("no loudspeaker", why="gone", next_step="Plug it in"))
    with Speaker(voice=voice, player=player) as speaker:
        assert speaker.ready()
        speaker.say([("note", "One.")])
        assert speaker.wait(5)
        player.fault = None
        speaker.say([("note", "Two.")])
        assert speaker.wait(5) and player.sounds == []
        speaker._lost_at -= 6
        speaker.say([("note", "Three.")])
        assert speaker.wait(5) and len(player.sounds) == 1
        assert len(speaker.notices) == 1


def test_an_error_nobody_foresaw_costs_one_line_not_the_speaker(paper):
    speaker, voice, player = paper
    player.fault = ZeroDivisionError("odd")
    speaker.say([("note", "Lost.")])
    assert speaker.wait(5)
    player.fault = None
    speaker.say([("leave", "Leave now. Kept.")])
    assert speaker.wait(5)
    assert len(player.sounds) == 2 and speaker.notices == ["A reply was not spoken: odd; it is shown only."]


def test_closing_in_the_middle_of_a_word_or_of_the_making_does_not_hang():
    for stuck in ("voice", "player"):
        voice, player = PaperVoice(), PaperPlayer()
        speaker = Speaker(voice=voice, player=player)
        assert speaker.ready()
        {"voice": voice, "player": player}[stuck].go.clear()
        speaker.say([("note", "One."), ("note", "Two.")])
        watch = clock.Stopwatch()
        speaker.close()
        speaker.close()
        assert watch.ms() < 2_000 and voice.closed
        assert speaker.say([("note", "Too late.")]) >= 0 and speaker.wait(1)


def test_calls_from_many_threads_at_once_neither_fail_nor_hang(paper):
    speaker, voice, _ = paper

    def call(n):
        for m in range(30):
            speaker.say([(spoken.KINDS[(n + m) % 7], f"Line {n} {m}.")])
            speaker.mute(m % 4 == 0)
            speaker.hold(m % 3 == 0)
            if m % 5 == 0:
                speaker.stop()

    threads = [threading.Thread(target=call, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    speaker.mute(False)
    speaker.hold(False)
    assert not any(thread.is_alive() for thread in threads) and speaker.wait(20) and not speaker.notices


def test_a_cut_between_two_waits_is_not_lost():
    cut = Cut()
    cut.nudge()
    cut.cut()
    assert not cut.wait_for(lambda: True, 5)


def test_a_speaker_with_nothing_to_do_starts_no_voice():
    speaker = Speaker(play=False)
    assert speaker.ready(0) and speaker.say([("leave", "Leave now.")]) < 50
    assert speaker.wait(0) and not speaker.notices
    speaker.close()
