"""The answer to the question that was asked last: several checks ask the same of a batch, one after the other."""

from collections.abc import Callable
from typing import Generic, TypeVar

Question = TypeVar("Question")
Answer = TypeVar("Answer")


class LastAnswer(Generic[Question, Answer]):
    """Keeps one answer; a batch of setpoints is a question by itself, for batches are equal only to themselves."""

    def __init__(self) -> None:
        self._kept: tuple[Question, Answer] | None = None

    def of(self, question: Question, work: Callable[[], Answer]) -> Answer:
        """Return the answer to ``question``: that of last time if it was the same, else what ``work`` finds."""
        if self._kept is None or self._kept[0] != question:
            self._kept = (question, work())
        return self._kept[1]

    def knows(self, question: Question) -> bool:
        """Return whether the answer to ``question`` is the one that is kept."""
        return self._kept is not None and self._kept[0] == question
