"""What every entry has in common."""

from __future__ import annotations

from dataclasses import dataclass

from shared.store.words import SubjectKind


@dataclass(frozen=True)
class Subject:
    """The lasting identity of a place, probe, stack, set, board, meter, limit or finish; what is known of it: facts."""

    id: int
    kind: SubjectKind
    code: str


@dataclass(frozen=True)
class Fact:
    """Something a person said: true from when, entered when, by whom, in place of which earlier entry."""

    id: int
    subject_id: int
    true_at_ms: int
    entered_at_ms: int
    entered_by: str
    supersedes: int | None
    withdrawn: bool
