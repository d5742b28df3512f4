"""The dialogue reducer: what counts at once, what waits, what is asked."""

from __future__ import annotations

from dialogue_talk import Talk, texts

from fieldaid.grammar.model import Ask


def test_typed_facts_are_taken_as_typed_and_read_back():
    talk = Talk()
    effects = talk.say({"roof.framing": "rafters"})
    assert talk.values == {"roof.framing": "rafters"} and effects.taken == {"roof.framing": "rafters"}
    assert texts(effects, "readback") == ["Roof.framing rafters."]


def test_a_spoken_fact_that_could_loosen_waits_for_affirm():
    talk = Talk(spoken=True)
    effects = talk.say({"roof.framing": "rafters"})
    assert talk.values == {} and effects.taken == {} and effects.asked
    assert texts(effects, "question") == ["Heard: roof.framing rafters. Affirm?"]
    assert talk.say(answer="yes").taken == {"roof.framing": "rafters"}
    assert talk.values == {"roof.framing": "rafters"}


def test_a_spoken_danger_counts_at_once():
    talk = Talk(spoken=True)
    assert talk.say({"deck.C": "soft"}).taken == {"deck.C": "soft"}
    assert talk.say({"roof.framing": "trusses"}).taken == {"roof.framing": "trusses"}


def test_negative_drops_what_waited():
    talk = Talk(spoken=True)
    talk.say({"water.on_fire": "yes"})
    talk.say(answer="no")
    assert talk.values == {} and not talk.state.pending


def test_at_most_three_facts_are_confirmed_at_once():
    talk = Talk(spoken=True)
    facts = {"crew.count": 3, "crew.masks": "on", "roof.wires": "none", "roof.solar": "none"}
    effects = talk.say(facts)
    assert len(talk.state.asked) == 3 and effects.asked
    talk.say(answer="yes")
    assert len(talk.values) == 3 and len(talk.state.asked) == 1
    talk.say(answer="yes")
    assert talk.values == facts


def test_a_waiting_question_never_blocks_a_new_fact():
    talk = Talk(spoken=True)
    talk.say({"roof.framing": "rafters"})
    talk.say({"deck.C": "soft"})
    assert talk.values == {"deck.C": "soft"} and talk.state.pending


def test_a_spoken_correction_waits():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    assert talk.say({"deck.C": "solid"}, command="correction").asked
    assert talk.values == {"deck.C": "soft"}


def test_a_contradiction_is_asked_and_answered():
    talk = Talk()
    talk.say({"roof.framing": "rafters"})
    effects = talk.say({"roof.framing": "trusses"})
    assert "Roof.framing rafters or roof.framing trusses?" in texts(effects, "question")[0]
    assert talk.state.expecting == "roof.framing" and talk.values == {"roof.framing": "trusses"}
    talk.say({"roof.framing": "rafters"})
    assert talk.values == {"roof.framing": "rafters"}
    assert not talk.state.picture.known(0)["roof.framing"].contested


def test_a_better_deck_does_not_replace_a_worse_one_and_says_so():
    talk = Talk()
    talk.say({"deck.C": "soft"})
    effects = talk.say({"deck.C": "solid"})
    assert talk.values == {"deck.C": "soft"} and effects.taken == {}
    assert "stands" in texts(effects, "note")[0]


def test_a_guess_never_loosens_and_a_guessed_danger_counts():
    talk = Talk()
    effects = talk.say({"roof.framing": ("rafters", "guess")})
    assert talk.values == {} and "is a guess" in texts(effects, "question")[0]
    talk.say({"roof.framing": ("trusses", "guess")})
    assert talk.values == {"roof.framing": "trusses"}


def test_half_understood_becomes_a_question_about_the_missing_part():
    talk = Talk()
    effects = talk.say(asks=(Ask("wind.from", "direction", "Wind from where?"),))
    assert texts(effects) == ["Wind from where?"] and talk.state.expecting == "wind.from"


def test_cannot_tell_is_an_answer():
    talk = Talk()
    talk.say(command="cannot tell", command_fact="roof.framing")
    assert talk.values == {"roof.framing": "cannot tell"}


def test_mayday_silences_the_voice():
    talk = Talk(spoken=True)
    effects = talk.say(command="mayday")
    assert talk.state.mayday and effects.stop_voice and ("mayday", None) in effects.requests


def test_nothing_understood_takes_nothing():
    effects = Talk().say(refused=("looks good",))
    assert not effects.understood and not effects.taken


def test_a_placing_fact_that_was_only_read_back_is_marked():
    talk = Talk(spoken=True)
    talk.say({"wind.from": "west"})
    assert not talk.state.picture.known(0)["wind.from"].confirmed


def test_a_danger_beside_a_command_or_an_answer_counts_all_the_same():
    """A line whose command alone was heard would drop what else it says."""
    for command in ("status", "why", "say again", "quiet", "stop talking", "leaving", "scratch that", "crew change",
                    "what do you need", "marks", "handover"):
        talk = Talk(spoken=True)
        assert talk.say({"deck.C": "soft"}, command=command).taken == {"deck.C": "soft"}, command
        assert talk.values == {"deck.C": "soft"}, command
    for answer in ("yes", "no"):
        talk = Talk(spoken=True)
        talk.say({"water.on_fire": "yes"})
        effects = talk.say({"deck.C": "soft"}, answer=answer)
        assert effects.taken == {"deck.C": "soft"} | ({"water.on_fire": "yes"} if answer == "yes" else {})


def test_good_news_beside_an_answer_waits_for_an_answer_of_its_own():
    talk = Talk(spoken=True)
    talk.say({"water.on_fire": "yes"})
    effects = talk.say({"roof.framing": "rafters"}, answer="yes")
    assert effects.taken == {"water.on_fire": "yes"} and effects.asked
    assert talk.say(answer="yes").taken == {"roof.framing": "rafters"}


def test_what_a_command_line_says_beside_is_named_when_it_is_not_taken():
    effects = Talk().say(command="crew change", refused=("coming down",))
    assert texts(effects, "note")[-1] == "Not taken: coming down."


def test_an_affirmed_contradiction_is_asked_and_not_passed_over():
    talk = Talk(spoken=True)
    talk.say({"roof.wires": ["A"]})
    talk.say({"roof.wires": "none"})
    effects = talk.say(answer="yes")
    assert texts(effects, "question") == ["Roof.wires ['A'] or roof.wires none? Roof.wires ['A'] counts."]
    assert talk.state.question == "roof.wires" and effects.asked


def test_an_affirmed_better_deck_says_that_the_worse_one_stands():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    talk.say({"deck.C": "solid"})
    assert texts(talk.say(answer="yes"), "note") == ["Deck.C soft stands. Say correction to change it."]
    assert talk.values == {"deck.C": "soft"}


def test_a_lesser_danger_is_read_back_beside_the_worse_one():
    talk = Talk(spoken=True)
    talk.say({"deck.unsaid": "sagging"})
    effects = talk.say({"deck.unsaid": "soft"})
    assert texts(effects, "note") == ["Deck.unsaid soft too. Deck.unsaid sagging counts."]


def test_what_mayday_and_no_play_do_not_take_is_named():
    for command in ("mayday", "no play"):
        effects = Talk(spoken=True).say(command=command, refused=("on charlie",))
        assert ("note", "Not taken: on charlie.") in effects.replies, command


def test_a_line_that_was_never_read_is_said_to_be_too_long():
    effects = Talk().say(refused=("a line of 4800 characters",))
    assert texts(effects) == ["Not taken: a line of 4800 characters. Shorter lines?"]


def test_what_was_not_taken_is_named_without_control_characters():
    effects = Talk().say({"deck.C": "soft"}, refused=("foo\x1b[2J\u202ebar",))
    assert texts(effects, "note") == ["Not taken: foo [2J bar."]


def test_a_danger_that_waits_stays_beside_the_good_news_that_is_told_after_it():
    """A correction to a danger waits and counts; unaffirmed good news of the same fact must not take it away."""
    talk = Talk(spoken=True)
    talk.say({"fire.attic": "confirmed"}, command="correction")
    talk.say({"fire.attic": "not seen"})
    assert [one.text for one in talk.state.pending] == ["fire.attic not seen"]
    assert talk.state.with_waiting_dangers(before=True).known(0)["fire.attic"].value == "confirmed"
    talk.say(answer="no")
    assert [one.text for one in talk.state.asked] == ["fire.attic confirmed"], "what it replaced waits again"
    talk.say({"fire.attic": "not seen"})
    talk.say(answer="yes")
    assert talk.values == {"fire.attic": "not seen"} and not talk.state.pending


def test_good_news_that_waits_hides_no_danger_that_waits():
    talk = Talk(spoken=True)
    talk.say({"crew.ways_off": 1})
    talk.say({"crew.where": "ground"})
    dangers = talk.state.with_waiting_dangers().known(0)
    assert dangers["crew.ways_off"].value == 1 and "crew.where" not in dangers


def test_no_play_beside_a_mayday_ends_the_exercise_too():
    """A mayday in the same breath must not leave the drill's good news. Common practice, no source."""
    talk = Talk()
    talk.say({"fire.attic": "not seen"}, command="exercise")
    effects = talk.say(command="mayday", also=("no play",))
    assert "fire.attic" not in talk.values and talk.state.mayday
    assert "Voice silent. You call the mayday." in texts(effects) and effects.requests == (("mayday", None),)


def test_a_yes_beside_a_command_confirms_nothing_and_what_waits_is_asked_again():
    talk = Talk(spoken=True)
    talk.say({"roof.framing": "rafters"})
    effects = talk.say(command="leaving", answer="yes")
    assert talk.state.leaving and talk.values == {}
    assert texts(effects, "question") == ["Heard: roof.framing rafters. Affirm?"]


def test_an_affirm_after_what_was_asked_is_gone_asks_for_what_still_waits():
    talk = Talk(spoken=True)
    for name, value in (("crew.masks", "breathing air"), ("command.roof", "go up"), ("crew.count", 3)):
        talk.say({name: value})
    talk.say({"roof.surface": "dry"})
    talk.say(command="crew change")
    assert not talk.state.asked and [one.text for one in talk.state.pending] == ["roof.surface dry"]
    effects = talk.say(answer="yes")
    assert talk.values == {} and texts(effects) == ["Heard: roof.surface dry. Affirm?"]
    talk.say(answer="yes")
    assert talk.values == {"roof.surface": "dry"}
