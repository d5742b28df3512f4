"""`fieldaid type --json` as its contract says: one object a line, whatever the line; nothing acknowledged is lost."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys

import pytest

TOP = {"n", "line", "result", "meant", "guess", "taken", "pending", "replies", "picture", "derived", "computed",
       "stale", "guidance"}
RESULTS = {"taken", "question", "not understood", "command"}
KINDS = {"leave", "stop", "caution", "advice", "question", "readback", "note"}
ACCESS = {"leave now", "come down", "stay off", "aerial only", "ladder tip only", "no bar reported"}
GATES = {"no opening", "other means", "inspection only", "hold", "no hold reported", "made"}


def environment(tmp_path):
    return {**os.environ, "FIELDAID_HOME": str(tmp_path / "home")}


def run(tmp_path, source: bytes, *options: str) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "fieldaid", "type", "--json", *options], input=source,
                          capture_output=True, env=environment(tmp_path), timeout=60)


def talk(tmp_path, *lines: str, options: tuple[str, ...] = ()) -> list[dict]:
    done = run(tmp_path, "".join(f"{line}\n" for line in lines).encode(), *options)
    assert done.returncode == 0, done.stderr.decode()
    return [json.loads(line) for line in done.stdout.decode().splitlines()]


def kinds(answer):
    return [reply["kind"] for reply in answer["replies"]]


def said(answer):
    return " ".join(reply["text"] for reply in answer["replies"])


def test_every_line_brings_one_object_of_the_contract(tmp_path):
    answers = talk(tmp_path, "gable, ridge bravo delta", "", "   ", "looks good", "why", "soft on charlie", "x" * 5000,
                   "wind", "affirm")
    assert [answer["n"] for answer in answers] == list(range(1, 10))
    for answer in answers:
        assert set(answer) == TOP and answer["result"] in RESULTS
        assert {reply["kind"] for reply in answer["replies"]} <= KINDS
        assert all(set(reply) == {"kind", "text", "rules"} for reply in answer["replies"])
        guidance = answer["guidance"]
        assert set(guidance) == {"access", "access_reason", "access_rules", "opening", "sections", "missing",
                                 "channels_agree"}
        assert set(guidance["opening"]) == {"gate", "gate_rules", "slope", "place", "kind", "size_ft", "rules"}
        assert guidance["access"] in ACCESS and guidance["opening"]["gate"] in GATES
    assert answers[3]["result"] == "not understood" and answers[3]["meant"] == {}


@pytest.mark.parametrize("source", [
    b"\xff\xfe\x00wind\n", b"\x00\n", b"no newline at the end", "tr\u00fcss \u2603\n".encode(), b"\r\n", b"{}[]\\\"\n",
])
def test_odd_bytes_are_answered_like_any_line(tmp_path, source):
    done = run(tmp_path, source)
    assert done.returncode == 0 and done.stderr == b""
    answer = json.loads(done.stdout)
    assert answer["n"] == 1 and answer["meant"] == {}


def test_the_end_of_input_without_any_line_is_no_error(tmp_path):
    done = run(tmp_path, b"")
    assert done.returncode == 0 and done.stdout == b""


def test_meant_depends_on_the_line_alone(tmp_path):
    line = "three of us on air"
    first = talk(tmp_path, line)[0]
    later = talk(tmp_path, "soft on charlie", "trusses", line, options=("--as-heard",))[-1]
    assert first["meant"] == later["meant"] == {"crew.count": 3, "crew.masks": "breathing air"}


def test_a_soft_deck_under_the_crew_is_leave_now_and_nothing_else_is_advised(tmp_path):
    """Invariants 1 and 12 [F16, G27]."""
    answer = talk(tmp_path, "on the roof", "soft on charlie")[-1]
    assert answer["guidance"]["access"] == "leave now" and answer["guidance"]["access_reason"] == "hazard"
    opening = answer["guidance"]["opening"]
    assert opening["gate"] == "no opening"
    assert opening["slope"] is opening["place"] is opening["kind"] is opening["size_ft"] is None
    assert kinds(answer)[0] == "leave" and answer["replies"][0]["text"].startswith("Leave now.")
    assert len(answer["replies"][0]["text"].split()) <= 7


def test_a_leave_now_repeats_until_leaving_and_stands_after_it(tmp_path):
    """Invariant 18: repeated until acknowledged; acknowledging ends the repeat, never the state."""
    answers = talk(tmp_path, "on the roof", "soft on charlie", "status", "leaving", "status")
    assert "leave" in kinds(answers[1]) and "leave" in kinds(answers[2])
    assert "leave" not in kinds(answers[4])
    assert answers[4]["guidance"]["access"] == "leave now"


def test_status_also_says_what_waits_until_it_is_asked(tmp_path):
    told, status = talk(tmp_path, "burning for six minutes", "status")
    assert told["taken"] == {"fire.minutes": 6}
    assert not any("Burn time" in one["text"] for one in told["replies"])
    assert [one["rules"] for one in status["replies"] if "Burn time" in one["text"]] == [["TIME-010"]]


def test_as_heard_nothing_loosens_before_affirm(tmp_path):
    answers = talk(tmp_path, "water on the fire", "affirm", options=("--as-heard",))
    assert answers[0]["meant"] == {"water.on_fire": "yes"} and answers[0]["pending"] == ["water.on_fire"]
    assert "water.on_fire" not in answers[0]["picture"] and answers[0]["result"] == "question"
    assert answers[1]["taken"] == {"water.on_fire": "yes"} and answers[1]["picture"]["water.on_fire"] == "yes"


def test_undo_brings_back_the_same_guidance(tmp_path):
    answers = talk(tmp_path, "gable, ridge bravo delta", "trusses", "scratch that")
    assert answers[2]["picture"] == answers[0]["picture"]
    assert answers[2]["guidance"] == answers[0]["guidance"]


def test_undo_that_takes_back_and_put_it_back_restores(tmp_path):
    answers = talk(tmp_path, "trusses", "undo that", "put it back")
    assert [answer["picture"] for answer in answers] == [{"roof.framing": "trusses"}, {}, {"roof.framing": "trusses"}]


def test_say_again_repeats_a_leave_now_once_also_after_leaving(tmp_path):
    answers = talk(tmp_path, "on the roof", "soft on charlie", "say again", "leaving", "say again")
    assert kinds(answers[2]).count("leave") == 1
    assert answers[4]["guidance"]["access"] == "leave now"


def test_a_contradiction_names_both_and_which_counts(tmp_path):
    answer = talk(tmp_path, "rafters", "trusses")[-1]
    assert "Framing: rafters or trusses? Trusses counts." in said(answer)


def test_why_not_in_words_that_name_no_rule_is_answered_all_the_same(tmp_path):
    assert "No rule is called" not in said(talk(tmp_path, "gable", "why not on the roof")[-1])


def test_a_danger_said_twice_is_two_facts_and_is_read_back_once(tmp_path):
    """Design, speech: `meant` is what the words say; the leave line names the place."""
    answer = talk(tmp_path, "Soft! Soft on Charlie!")[0]
    assert answer["meant"] == {"deck.unsaid": "soft", "deck.C": "soft"}
    said = [(one["kind"], one["text"]) for one in answer["replies"]]
    assert ("leave", "Leave now. Soft deck, C.") in said and ("readback", "Deck soft, C.") in said
    assert sum(kind == "leave" for kind, _ in said) == 1


def test_one_ladder_and_a_crew_nobody_placed_is_a_leave_until_the_crew_is_placed(tmp_path):
    """Design, access: a trigger with the crew's place unknown is leave now, on the ground it is stay off."""
    first, second = talk(tmp_path, "ladder at Alpha", "we're on the ground")
    assert first["guidance"]["access"] == "leave now"
    assert "Crew place not told: counted as on the roof." in [one["text"] for one in first["replies"]]
    assert second["guidance"]["access"] == "stay off" and second["guidance"]["access_reason"] == "hazard"


def test_a_section_keeps_its_own_verdict_and_good_news_stays_there(tmp_path):
    """Invariant 31."""
    answer = talk(tmp_path, "garage roof is rafters", "trusses")[-1]
    assert answer["picture"]["roof.framing@garage"] == "rafters"
    assert set(answer["guidance"]["sections"]) == {"garage"}
    assert answer["guidance"]["sections"]["garage"]["access"] == "stay off"


def test_channels_agree_is_null_when_only_one_ran(tmp_path):
    assert talk(tmp_path, "gable", options=("--no-engine",))[0]["guidance"]["channels_agree"] is None


def test_a_session_never_closed_is_resumed_and_a_closed_one_is_not(tmp_path):
    journal = str(tmp_path / "s.journal")
    first = cut_off(tmp_path, journal, ["on the roof", "soft on charlie"])
    assert len(first) == 2
    again = talk(tmp_path, "status", options=("--journal", journal))[0]
    assert again["guidance"]["access"] == "leave now"
    assert again["picture"]["deck.C"] == "soft"
    assert "leave" in kinds(again) and "Resumed" in said(again)
    new = talk(tmp_path, "status", options=("--journal", journal))[0]
    assert new["picture"] == {} and "Resumed" not in said(new)


def cut_off(tmp_path, journal: str, lines: list[str], kill_after: int | None = None) -> list[dict]:
    """Types lines one by one and kills the process with SIGKILL once the last was answered."""
    process = subprocess.Popen([sys.executable, "-m", "fieldaid", "type", "--json", "--journal", journal],
                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment(tmp_path))
    answers = []
    try:
        for line in lines[:kill_after]:
            process.stdin.write(f"{line}\n".encode())
            process.stdin.flush()
            answers.append(json.loads(process.stdout.readline()))
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        process.stdin.close()
    return answers


LINES = ["gable, ridge bravo delta", "built nineteen fifty eight", "wind from the west", "soft on charlie",
         "three of us on air", "rafters at the eave", "no wires", "top floor fire charlie", "on the roof", "dry"]


def test_twenty_kills_lose_nothing_that_was_acknowledged(tmp_path):
    """SIGKILL at random points; each time the journal opens again and the picture is that of the last answer."""
    rng = random.Random(7)
    journal = str(tmp_path / "k.journal")
    picture: dict = {}
    for round_ in range(20):
        lines = rng.sample(LINES, rng.randint(1, 2))
        answers = cut_off(tmp_path, journal, lines)
        assert set(picture) <= set(answers[0]["picture"]) | set(answers[0]["stale"]), f"lost in round {round_}"
        picture = answers[-1]["picture"]
        leave = answers[-1]["guidance"]["access"] == "leave now"
    again = talk(tmp_path, "status", options=("--journal", journal))[0]
    assert again["picture"] == picture
    assert (again["guidance"]["access"] == "leave now") == leave


@pytest.mark.parametrize(("options", "code", "says"), [
    (("--rules", "nowhere"), 2, "nowhere"),
    (("--journal", "/proc/none/x.journal"), 3, "journal"),
])
def test_what_cannot_be_used_is_one_sentence_and_an_exit_code(tmp_path, options, code, says):
    done = run(tmp_path, b"gable\n", *options)
    assert done.returncode == code and says in done.stderr.decode()
    assert "Traceback" not in done.stderr.decode()


def test_an_unwritable_home_costs_the_journal_and_says_so(tmp_path):
    (tmp_path / "home").write_text("a file, not a folder", encoding="utf-8")
    answer = talk(tmp_path, "soft on charlie")[0]
    assert "This session is not kept" in said(answer) and answer["taken"] == {"deck.C": "soft"}
