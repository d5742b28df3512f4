"""The dialogue reducer: what counts at once, what waits, what can be taken back."""

from __future__ import annotations

from fieldaid.grammar.model import Ask, Parsed, Reading
from fieldaid.session.dialogue import reduce
from fieldaid.session.dialogue_state import State, Utterance


def phrase(name, value, basis):
    return f"{name} {value}"


class Talk:
    """A conversation with numbered utterances."""

    def __init__(self, spoken=False):
        self.state, self.n, self.spoken = State(), 0, spoken

    def say(self, facts=None, *, at=0.0, **parsed):
        self.n += 1
        readings = tuple(Reading(name, *(value if isinstance(value, tuple) else (value,)))
                         for name, value in (facts or {}).items())
        said = Utterance(self.n, at, Parsed("", readings=readings, **parsed), self.spoken)
        self.state, effects = reduce(self.state, said, phrase)
        return effects

    @property
    def values(self):
        return {name: one.value for name, one in self.state.picture.known(0).items()}


def texts(effects, kind=None):
    return [text for of, text in effects.replies if kind in (None, of)]


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


def test_scratch_that_takes_back_and_restore_puts_back():
    talk = Talk()
    talk.say({"wind.from": "west"})
    talk.say({"wind.from": "north"})
    talk.say(command="scratch that")
    assert talk.values == {"wind.from": "west"}
    talk.say(command="scratch that")
    assert talk.values == {}
    talk.say(command="restore")
    talk.say(command="restore")
    assert talk.values == {"wind.from": "north"}


def test_a_spoken_scratch_waits_because_it_could_remove_a_danger():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    assert talk.say(command="scratch that").asked
    assert talk.values == {"deck.C": "soft"}
    talk.say(answer="yes")
    assert talk.values == {}


def test_scratch_drops_what_only_waited():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    talk.say({"roof.framing": "rafters"})
    talk.say(command="scratch that")
    assert not talk.state.pending and talk.values == {"deck.C": "soft"}


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


def test_a_crew_change_forgets_the_old_crews_good_news():
    talk = Talk()
    talk.say({"crew.count": 3, "crew.missing": "yes"})
    talk.say(command="crew change")
    assert talk.values == {"crew.missing": "yes"}


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


def test_an_answer_and_a_fact_in_one_line_are_scratched_together():
    talk = Talk()
    talk.say({"roof.framing": "rafters"})
    talk.say({"wind.from": "west"}, command="crew change")
    assert talk.state.done == (1, 2)
    talk.say(command="scratch that")
    assert talk.values == {"roof.framing": "rafters"} and talk.state.done == (1,)


def test_a_new_job_starts_from_nothing_told_and_can_be_taken_back():
    talk = Talk()
    talk.say({"deck.C": "soft", "deck.C@garage": "soft"})
    assert texts(talk.say(command="clear")) == ["New job. Nothing told."]
    assert talk.values == {} and talk.state.picture.sections() == ()
    talk.say({"roof.framing": "rafters"})
    assert talk.values == {"roof.framing": "rafters"}
    talk.say(command="scratch that")
    talk.say(command="scratch that")
    assert talk.values == {"deck.C": "soft", "deck.C@garage": "soft"}


def test_a_spoken_new_job_waits_because_it_removes_dangers():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    talk.say({"water.on_fire": "yes"})
    assert talk.say(command="clear").asked and talk.values == {"deck.C": "soft"}
    effects = talk.say(answer="yes")
    assert talk.values == {} and talk.state.pending == () and not effects.asked
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    talk.say(command="clear")
    talk.say(answer="no")
    assert talk.values == {"deck.C": "soft"}


def test_what_is_told_with_a_spoken_new_job_belongs_to_it():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    effects = talk.say({"roof.form": "gable", "roof.framing": "rafters"}, command="clear")
    assert texts(effects, "question") == ["Heard: new job, then roof.form gable; roof.framing rafters. Affirm?"]
    assert talk.values == {"deck.C": "soft"}, "the old job stands until it is affirmed"
    talk.say({"roof.form": "hip"})
    assert any(one.starts_a_job for one in talk.state.pending), "a later fact drops no new job"
    talk.say(answer="yes")
    assert talk.values == {"roof.form": None, "roof.framing": "rafters"}, "two forms were told of the new job"
    typed = Talk()
    typed.say({"deck.C": "soft"})
    typed.say({"roof.form": "gable"}, command="clear")
    assert typed.values == {"roof.form": "gable"}


def test_a_danger_told_with_a_spoken_new_job_counts_before_and_after_it():
    talk = Talk(spoken=True)
    assert talk.say({"deck.B": "soft"}, command="clear").taken == {"deck.B": "soft"}
    talk.say(answer="yes")
    assert talk.values == {"deck.B": "soft"}


def test_a_taking_back_is_affirmed_by_itself():
    """One yes must not remove a danger beside a fact that waits."""
    talk = Talk(spoken=True)
    talk.say({"deck.A": "soft"})
    talk.say({"water.on_fire": "yes"})
    talk.say({"deck.B": "soft"})
    effects = talk.say(command="scratch that")
    assert texts(effects, "question") == ["Heard: scratch deck.B soft. Affirm?"]
    talk.say(answer="yes")
    assert talk.values == {"deck.A": "soft"} and talk.state.asked
    talk.say(command="forget", command_fact="deck.A")
    assert all(one.takes_back or len(talk.state.asked) == 1 for one in talk.state.asked)


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


def test_forgetting_a_deck_without_its_place_names_what_is_told():
    talk = Talk()
    talk.say({"deck.B": "soft"})
    effects = talk.say(command="forget", command_fact="deck.unsaid")
    assert texts(effects) == ["Deck: not told.", "Told: Deck.B soft."] and talk.values == {"deck.B": "soft"}
    talk.say(command="forget", command_fact="deck.B")
    assert talk.values == {}


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


def test_a_spoken_scratch_of_a_danger_that_only_waits_waits_too():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"}, command="correction")
    for _ in range(2):
        assert texts(talk.say(command="scratch that"), "question") == ["Heard: scratch deck.C soft. Affirm?"]
    talk.say(answer="no")
    assert [one.text for one in talk.state.asked] == ["deck.C soft"]
    talk.say(command="scratch that")
    talk.say(answer="yes")
    assert not talk.state.pending and talk.values == {}


def test_a_short_roll_call_that_waits_is_scratched_only_with_affirm():
    """One short means a member missing, at once [S21]."""
    talk = Talk(spoken=True)
    talk.say({"crew.count": 3})
    talk.say(answer="yes")
    talk.say({"crew.par": 2})
    talk.say(command="scratch that")
    assert [one.text for one in talk.state.pending] == ["scratch crew.par 2", "crew.par 2"]


def test_a_scratch_that_was_heard_twice_is_one():
    talk = Talk(spoken=True)
    talk.say({"deck.C": "soft"})
    talk.say(command="scratch that")
    talk.say(command="scratch that")
    assert len(talk.state.pending) == 1
    talk.say(answer="yes")
    assert not talk.state.pending and talk.state.undone == (1,)


def test_what_is_told_between_a_new_job_and_its_affirm_belongs_to_the_new_job():
    talk = Talk(spoken=True)
    talk.say({"deck.B": "soft"})
    talk.say({"roof.surface": "dry"})
    talk.say(command="clear")
    talk.say({"deck.C": "soft"})
    talk.say({"fire.attic": "not seen"})
    effects = talk.say(answer="yes")
    assert talk.values == {"deck.C": "soft"}
    assert texts(effects, "question") == ["Heard: fire.attic not seen. Affirm?"]


def test_good_news_of_the_crew_before_waits_no_more_after_a_change():
    talk = Talk(spoken=True)
    talk.say({"crew.masks": "breathing air", "crew.ways_off": 1, "roof.surface": "dry"})
    talk.say(command="crew change")
    assert [one.text for one in talk.state.pending] == ["crew.ways_off 1", "roof.surface dry"]


def test_no_play_keeps_a_danger_of_the_exercise_that_waits():
    talk = Talk(spoken=True)
    talk.say({"roof.framing": "rafters"}, command="exercise")
    talk.say(answer="yes")
    talk.say({"roof.framing": "trusses", "fire.attic": "not seen"}, command="exercise")
    talk.say({"roof.framing": "trusses"}, command="exercise")
    assert [one.text for one in talk.state.pending] == ["fire.attic not seen", "roof.framing trusses"]
    talk.say(command="no play")
    assert [one.text for one in talk.state.pending] == ["roof.framing trusses"]


def test_what_was_scratched_in_the_job_before_is_not_put_back_into_the_new_one():
    """ "Back: deck soft" would be untrue: nothing of the job before counts."""
    talk = Talk()
    talk.say({"deck.C": "soft"})
    talk.say(command="scratch that")
    talk.say(command="clear")
    assert texts(talk.say(command="restore")) == ["Nothing was scratched."]


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
