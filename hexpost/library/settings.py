"""What a policy sets for one program: the files it is judged with, and what each limit means."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType

from hexpost.machine.feed_caps import FeedCap

LEVELS = ("fail", "warn", "ignore")
TIME_LIMIT_S = 600.0
"""A program that takes longer to check than this is given up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRule:
    """What one limit means: its level, and the uses (1: all of it) above which it fails and above which it warns."""

    level: str | None = None
    fail_above: float | None = None
    warn_above: float | None = None

    @property
    def fails_above(self) -> float:
        """Return the use above which the limit fails; never reached where it only warns or is ignored."""
        if self.level in ("warn", "ignore"):
            return float("inf")
        return 1.0 if self.fail_above is None else self.fail_above

    @property
    def speaks_above(self) -> float:
        """Return the least use that anything is said about."""
        fail = 1.0 if self.fail_above is None else self.fail_above
        return fail if self.warn_above is None else min(fail, self.warn_above)

    def fails(self, ratio: float) -> bool:
        """Return whether a finding with this ratio fails; where nothing warns, each one does."""
        return ratio > self.fails_above or self.speaks_above == self.fails_above


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Settings of a program; ``None`` is not said. Files are paths; period and times in s."""

    machine: str | None = None
    tools: str | None = None
    setup: str | None = None
    feed: str | None = None
    period: float | None = None
    units: str | None = None
    longest: float | None = None
    time_limit: float | None = None
    skip: bool | None = None
    must_check: tuple[str, ...] | None = None
    machine_required: bool | None = None
    at_most: tuple[FeedCap, ...] | None = None
    limits: Mapping[str, LimitRule] = field(default_factory=lambda: MappingProxyType({}))

    def rule(self, limit: str) -> LimitRule:
        """Return what a limit means; a limit that nobody names fails above all of it."""
        return self.limits.get(limit, LimitRule())

    @property
    def contradictions(self) -> tuple[str, ...]:
        """Return the limits that would fail before they warn, as tables that are each in order may add up to it."""
        return tuple(
            name
            for name, rule in sorted(self.limits.items())
            if rule.level in (None, "fail") and rule.warn_above is not None and rule.fails_above < rule.warn_above
        )

    @property
    def margins(self) -> tuple[tuple[str, float], ...]:
        """Return the limits that are checked at less than all of them, with the share."""
        shares = ((name, rule.speaks_above) for name, rule in self.limits.items() if rule.level != "ignore")
        return tuple(sorted((name, share) for name, share in shares if share != 1.0))


def merged(settings: Iterable[Settings]) -> Settings:
    """Return all settings in one: what is said later counts."""
    out = Settings()
    for one in settings:
        said = {f.name: getattr(one, f.name) for f in fields(one) if f.name != "limits"}
        limits = dict(out.limits)
        for name, rule in one.limits.items():
            said_of = {f.name: getattr(rule, f.name) for f in fields(rule) if getattr(rule, f.name) is not None}
            limits[name] = replace(out.rule(name), **said_of)
        said = {key: value for key, value in said.items() if value is not None}
        out = replace(out, **said, limits=MappingProxyType(limits))
    return out
