"""Live: what the tool's own voice says is taken for nothing, and the voice is silent when it must be.

What the loop must do is the product's own rule (design: Speech); the word limits and trade facts are tested elsewhere.
"""

from __future__ import annotations

import pytest
from talk_room import LEAVE, hasten, until

from fieldaid import data
from fieldaid.clock import monotonic
from fieldaid.guidance.pack import load_pack

# --- the tool's own voice ---


def test_its_own_voice_never_confirms_and_never_tells_a_fact(talk):
    one = talk()
    one.say("field aid rafters")
    for heard in ("affirm", "yes", "heard framing rafters affirm", "rafters", "negative", "say again"):
        one.say(heard, over=["Heard: framing: rafters. Affirm?"])
    assert one.picture == {} and [pending.names for pending in one.session.state.pending] == [("roof.framing",)]
    assert all(body["ignored"] for body in one.events("line")[1:])


def test_over_the_voice_stop_talking_and_mayday_are_heard_unless_the_voice_says_so_itself(talk):
    one = talk()
    one.say("no play", over=["No play. This is real."])
    one.say("mayday", over=["Member missing: mayday first."])
    assert all(body["ignored"] for body in one.events("line")) and not one.session.state.mayday
    one.say("stop talking", over=["Wind west. Stay off: attic not told."])
    assert ("stop", True) in one.speaker.calls
    one.say("mayday mayday mayday", over=["Member missing: mayday first."])
    assert one.session.state.mayday


def test_leaving_beside_stop_talking_over_the_voice_is_asked_again(talk):
    one = talk()
    one.say("soft on charlie")
    one.say("stop talking, leaving", over=[LEAVE])
    assert not one.session.state.leaving and "Leaving? Say again." in one.speaker.lines


@pytest.mark.parametrize(("heard", "said"), [
    ("soft deck charlie", "Leave now. Soft deck, Charlie."),
    ("leave now, soft back charlie", "Leave now. Soft deck, Charlie."),
    ("leave out, sagging back delta", "Leave now. Sagging deck, Delta.")])
def test_its_own_report_of_a_danger_is_none_however_it_is_misheard(talk, heard, said):
    """The last two are what a recogniser made of the voice."""
    one = talk()
    _, spoken = one.say(heard, over=[said])
    assert one.picture == {} and spoken == [] and one.speaker.calls == []


def test_a_danger_over_the_voice_silences_it_and_is_asked_for_again(talk):
    one = talk()
    _, spoken = one.say("soft on charlie", over=["Wind west. Stay off: attic not told."])
    assert one.picture == {} and spoken == ["Danger? Say again."] and one.speaker.calls == [("stop", True)]
    one.say("soft on charlie")
    assert one.picture == {"deck.C": "soft"}


def test_leaving_over_the_burst_silences_it_and_is_asked_for_again(talk):
    """It is the natural answer to "Leave now", and the word that the voice's own is likeliest misheard as."""
    one = talk()
    one.say("soft on charlie")
    assert one.say("leaving", over=["Leave now. Soft deck, Charlie."])[1] == ["Leaving? Say again."]
    assert not one.session.state.leaving and one.speaker.calls == [("stop", True)]
    one.say("leaving")
    assert one.session.state.leaving


def test_a_message_over_the_voice_is_not_lost_without_a_word(talk):
    one = talk()
    _, spoken = one.say("field aid wind from the west", over=["Stay off: attic not told."])
    assert spoken == ["Talked over. Say again."] and one.picture == {}


def test_no_line_that_the_voice_says_counts_when_it_is_heard_word_for_word(grammar):
    """Every line of the rule pack and of the dialogue's own replies, heard perfectly by the tool's own microphone."""
    from fieldaid.session.urgent import counts_over_voice, danger_over_voice
    from fieldaid.speaking.spoken import spoken_form

    said = [f"Leave now. {text}" for text in ("Soft deck, C.", "Sagging deck, D.", "Smoking deck, ridge.")]
    said += ["Heard: deck solid, C. Affirm?", "No play. This is real.", "Deck soft, C.", "Talked over. Say again.",
             "Not understood. Nothing taken. Say again?", "Quiet. Dangers are still said.", "Affirmed."]
    for rule in load_pack(data.folder("rules") / "house").rules:
        said.append(str(getattr(rule, "say", "") or ""))
    for line in filter(None, said):
        heard = spoken_form(line).lower()
        parts = [heard, *heard.replace("?", ".").replace(":", ".").split(".")]
        for part in map(grammar.parse, parts):
            assert not counts_over_voice(part, [spoken_form(line)]), line
            assert not danger_over_voice(part, [spoken_form(line)]), line


# --- silence ---


def test_stop_talking_is_answered_with_silence_and_a_leave_comes_again(talk, monkeypatch):
    hasten(monkeypatch, 0.4, 0.1)
    one = talk()
    one.say("soft on charlie")
    assert one.speaker.lines[0] == LEAVE
    one.loop._due = monotonic() + 60
    assert one.say("stop talking")[1] == [] and one.speaker.calls[-1] == ("stop", True)
    until(lambda: one.speaker.lines.count(LEAVE) >= 2)


def test_a_mayday_leaves_the_voice_silent_whatever_comes(talk, monkeypatch):
    hasten(monkeypatch, 0.1, 0.0)
    one = talk()
    one.say("mayday mayday mayday")
    shown, spoken = one.say("soft on charlie")
    assert LEAVE in shown and spoken == []
    until(lambda: len(one.events("tick")) >= 2)
    assert LEAVE not in one.speaker.lines


def test_the_voice_is_held_while_somebody_speaks(talk):
    one = talk()
    one.room.open_speech = True
    until(lambda: one.speaker.held)
    one.room.open_speech = False
    one.say("field aid wind from the west")
    until(lambda: not one.speaker.held)
    assert "give way" not in one.speaker.calls, "over a loudspeaker the ear cannot know whose voice it is"


def test_with_an_earpiece_the_voice_gives_way(talk):
    one = talk(earpiece=True)
    one.room.open_speech = True
    until(lambda: "give way" in one.speaker.calls)


def test_enter_silences_the_voice_where_there_is_no_talk_key(talk):
    one = talk()
    one.loop.key()
    assert one.speaker.calls == [("stop", True)] and one.out.getvalue() == ""
