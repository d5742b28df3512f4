"""The dialogue reducer: what can be taken back, and what a new crew or a new job leaves of what was told."""

from __future__ import annotations

from dialogue_talk import Talk, texts


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


def test_a_crew_change_forgets_the_old_crews_good_news():
    talk = Talk()
    talk.say({"crew.count": 3, "crew.missing": "yes"})
    talk.say(command="crew change")
    assert talk.values == {"crew.missing": "yes"}


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


def test_forgetting_a_deck_without_its_place_names_what_is_told():
    talk = Talk()
    talk.say({"deck.B": "soft"})
    effects = talk.say(command="forget", command_fact="deck.unsaid")
    assert texts(effects) == ["Deck: not told.", "Told: Deck.B soft."] and talk.values == {"deck.B": "soft"}
    talk.say(command="forget", command_fact="deck.B")
    assert talk.values == {}


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
