"""What is asked before anyone works in a loft, and what an unsafe answer means.

The questions are common practice; the law they lean on is named beside each. They remind,
they do not replace local rules, training or the judgement of whoever is licensed for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from jobs.errors import Refused

Answer = Literal["yes", "no", "n-a"]
ANSWERS: tuple[Answer, ...] = ("yes", "no", "n-a")


@dataclass(frozen=True, slots=True)
class Question:
    """One question of the pre-start check.

    unsafe: the answer that is not safe. stops_work: whether that answer ends the visit, or only
    holds the work until it is put right. caution: what to do then. call: whom to tell.
    may_not_apply: whether "n-a" is an answer.
    """

    code: str
    text: str
    unsafe: Answer
    stops_work: bool
    caution: str
    call: str = ""
    source: str = ""
    may_not_apply: bool = False
    short: str = ""


QUESTIONS: tuple[Question, ...] = (
    Question(
        "ppe",
        "Is everyone wearing overalls, dust mask, safety glasses, bump cap and gloves?",
        unsafe="no",
        stops_work=False,
        caution="Nobody goes up without them: the dust of mineral wool hurts eyes and lungs.",
        short="Protective equipment",
    ),
    Question(
        "loft_empty",
        "Is the loft empty, lit and safe to get into?",
        unsafe="no",
        stops_work=False,
        caution="Ask the householder to empty it, set up light and a footed ladder, then answer "
        "again. If it can't be done today, stop work and say why.",
        source="Work at Height Regulations 2005",
        short="Loft empty and safe",
    ),
    Question(
        "boards",
        "Do the crawl boards lie across joists, each carried by at least three?",
        unsafe="no",
        stops_work=False,
        caution="Never step between joists: a ceiling does not carry a person. Lay the boards "
        "first.",
        source="Work at Height Regulations 2005, regulation 9 (fragile surfaces)",
        short="Boards over three joists",
    ),
    Question(
        "downlights",
        "Does every recessed downlight have its non-combustible cover?",
        unsafe="no",
        stops_work=False,
        caution="What gives off heat is covered first, as the cover's maker says. Leave bare what "
        "you have no cover for, and tell the office.",
        may_not_apply=True,
        short="Downlights covered",
    ),
    Question(
        "cables",
        "Will cables under high load (shower, cooker) lie on top, or did an electrician decide?",
        unsafe="no",
        stops_work=False,
        caution="In doubt the cable lies on top of the full depth. If you are unsure, an "
        "electrician decides before it is covered.",
        source="BS 7671, 523.9",
        may_not_apply=True,
        short="High-load cables",
    ),
    Question(
        "asbestos",
        "Is there anything that may be asbestos, or loose-fill vermiculite?",
        unsafe="yes",
        stops_work=True,
        caution="Touch nothing, leave the loft, close the hatch and keep others out. It has to be "
        "sampled, and removed by a licensed contractor if it is asbestos.",
        call="the office, who asks a licensed asbestos contractor",
        source="Control of Asbestos Regulations 2012 (Northern Ireland: 2012 as well)",
        short="Suspected asbestos or vermiculite",
    ),
    Question(
        "bats_or_birds",
        "Are there bats, droppings of bats, or nesting birds?",
        unsafe="yes",
        stops_work=True,
        caution="Bats and their roosts are protected even while empty, and so are nests in use. "
        "Leave quietly and disturb nothing.",
        call="the office, who asks the statutory nature conservation body",
        source="Wildlife and Countryside Act 1981 and the habitats regulations of each nation",
        short="Bats or birds",
    ),
    Question(
        "wet_timber",
        "Is any timber wet, rotten or mouldy, or does the roof leak?",
        unsafe="yes",
        stops_work=True,
        caution="Insulation over damp timber hides it and makes it worse, and rotten timber may "
        "not carry you. The cause is put right first.",
        call="the office",
        short="Wet timber or a leak",
    ),
    Question(
        "damaged_wiring",
        "Is any wiring damaged, bare, scorched or loose?",
        unsafe="yes",
        stops_work=True,
        caution="Do not touch it and do not cover it. A competent electrician makes it safe first.",
        call="the office, who sends an electrician",
        source="Electricity at Work Regulations 1989",
        short="Damaged wiring",
    ),
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a set of answers comes to: the unsafe ones, and those among them that stop work."""

    unsafe: tuple[Question, ...]

    @property
    def safe_to_start(self) -> bool:
        return not self.unsafe

    @property
    def stopping(self) -> tuple[Question, ...]:
        return tuple(question for question in self.unsafe if question.stops_work)


def question_of(code: str) -> Question:
    """The question of that code. Raises KeyError saying which codes exist."""
    for question in QUESTIONS:
        if question.code == code:
            return question
    raise KeyError(f"no question {code!r}; there are {', '.join(q.code for q in QUESTIONS)}")


def weigh(answers: Mapping[str, object]) -> Outcome:
    """What the answers come to.

    Raises:
        Refused: a question is not answered, unknown, or answered with another word.
    """
    known = {question.code for question in QUESTIONS}
    for code in answers:
        if code not in known:
            raise Refused(
                f"There is no question {code!r}.",
                field=f"answers.{code}",
                remedy=f"Answer these: {', '.join(q.code for q in QUESTIONS)}.",
            )
    for question in QUESTIONS:
        _check_answer(question, answers.get(question.code))
    return outcome_of(answers)


def outcome_of(answers: Mapping[str, object]) -> Outcome:
    """What stored answers come to, whatever questions were asked at the time."""
    return Outcome(tuple(q for q in QUESTIONS if answers.get(q.code) == q.unsafe))


def _check_answer(question: Question, answer: object) -> None:
    words = ANSWERS if question.may_not_apply else ANSWERS[:2]
    if answer in words:
        return
    said = "is not answered" if answer is None else f"can't be answered {answer!r}"
    raise Refused(
        f"“{question.text}” {said}.",
        field=f"answers.{question.code}",
        remedy=f"Answer {' or '.join(words)}.",
    )
