"""How times are written for the person who reads the page, and in which language."""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Final, Literal, Self
from zoneinfo import ZoneInfo

from markupsafe import Markup

from drumkeep.domain.time_words import clock_words, day_words, half_of_day, span_words
from drumkeep.language.tongue import ENGLISH, Tongue, tongue
from drumkeep.web.view_models import Units

NOT_KNOWN: Final = "not known"
SPACE: Final = "\N{NO-BREAK SPACE}"
_NOON: Final = 12
_HALF_HOUR: Final = timedelta(minutes=30)

How = Literal["when", "ago", "until", "left", "about", "date"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Writes times in the site's zone, and knows the viewer's words.

    Parameters
    ----------
    units
        ``us`` for °F, lb, psi, inches and a 12-hour clock; ``si`` for °C, kg, kPa, cm and 24 hours.
    timezone
        Zone of the site the page is about.
    now
        The moment of the request, aware.
    language
        ISO 639-1 code of the viewer's language.
    named
        Whether a time is followed by its zone: where the clocks of two sites stand together.
    """

    units: Units
    timezone: tzinfo
    now: datetime
    language: str = ENGLISH
    named: bool = False

    @property
    def tongue(self) -> Tongue:
        """The viewer's language."""
        return tongue(self.language)

    def at(self, zone: str) -> Self:
        """Return the same for another site's zone (IANA name)."""
        return replace(self, timezone=ZoneInfo(zone))

    def local(self, at: datetime) -> datetime:
        """Return the time in the site's zone."""
        return at.astimezone(self.timezone)

    def clock(self, at: datetime, *, short: bool = False) -> str:
        """Return the time of day: ``2:40 am`` or ``02:40``; ``short`` drops ``:00`` (``2 pm``)."""
        local = self.local(at)
        if short and self.units == "us" and local.minute == 0:
            return f"{local.hour % 12 or 12}{SPACE}{half_of_day(local)}"
        return clock_words(local, units=self.units, space=SPACE)

    def day(self, at: datetime) -> str:
        """Return the day as people say it: nothing for today, ``tomorrow``, ``Fri``."""
        today = self.local(self.now).date()
        return day_words(self.local(at), today=today, speech=self.tongue)

    def when(self, at: datetime | None) -> str:
        """Return a time as people say it: ``2:40 am``, ``tomorrow 6:00 am``, ``Fri 6:00 am``."""
        if at is None:
            return self.not_known
        zone = self.zone(at) if self.named else ""
        return f"{self.day(at)} {self.clock(at)} {zone}".strip()

    def zone(self, at: datetime) -> str:
        """Return what the zone is called at a time: ``CST``, in summer ``CDT``."""
        return self.local(at).tzname() or ""

    def about(self, at: datetime | None) -> str:
        """Return a computed time, rounded up to the half hour: ``about 2 pm tomorrow``.

        Never rounded down: nobody should be told that a drum is ready before it is.
        """
        if at is None:
            return self.not_known
        clock, day = self._rounded_up(at)
        if not day:
            return self.words("about {clock}", clock=clock)
        return self.words("about {clock} {day}", clock=clock, day=day)

    def between(self, earliest: datetime | None, latest: datetime | None) -> str:
        """Return a span: ``between 2 pm and 6 pm tomorrow``, ``by midnight or sooner`` from now.

        Its end is that of :meth:`about`; one time where both round to it or there is no earliest.
        """
        if earliest is None or latest is None or latest - earliest < _HALF_HOUR:
            return self.about(latest)
        clock, day = self._rounded_up(latest)
        last = f"{clock} {day}".strip()
        if self._is_now(earliest):
            return self.words("by {last} or sooner", last=last)
        first_clock, first_day = self._rounded_up(_half_hour_before(self.local(earliest)))
        if (first_clock, first_day) == (clock, day):
            return self.about(latest)
        first = first_clock if first_day == day else f"{first_clock} {first_day}".strip()
        return self.words("between {first} and {last}", first=first, last=last)

    def earliest(self, at: datetime) -> str:
        """Return a computed time, rounded down to the half hour: ``about 2 pm``, ``now``."""
        if self._is_now(at):
            return self.words("now")
        return self.about(_half_hour_before(self.local(at)))

    def _is_now(self, at: datetime) -> bool:
        return at - self.now < _HALF_HOUR

    def _rounded_up(self, at: datetime) -> tuple[str, str]:
        """Return the half hour that ends a time's: its time of day, and its day."""
        before = _half_hour_before(self.local(at))
        later = before if before == at else before + _HALF_HOUR
        clock, day = self.clock(later, short=True), self.day(later)
        twelve = (self.local(later).hour, self.local(later).minute)
        if self.units == "us" and twelve == (_NOON, 0):
            clock = self.words("noon")
        elif self.units == "us" and twelve == (0, 0):
            # It belongs to the evening that it ends: nobody would look for it in the morning.
            clock, day = self.words("midnight"), self.day(later - timedelta(minutes=1))
        return clock, day

    def date(self, at: datetime | None) -> str:
        """Return a date: ``14 Nov 2026``."""
        if at is None:
            return self.not_known
        return self.tongue.date(self.local(at))

    def exact(self, at: datetime) -> str:
        """Return a time that leaves no doubt: ``Wed 25 Nov 2026, 2:40:05 am CST``."""
        local = self.local(at)
        clock = clock_words(local, units=self.units, space=SPACE, seconds=True)
        day = f"{self.tongue.weekday(local)} {self.date(at)}"
        return f"{day}, {clock} {self.zone(at)}".strip()

    def ago(self, at: datetime | None) -> str:
        """Return how long ago: ``3 min ago``, ``2 h 5 min ago``, ``just now``."""
        if at is None:
            return self.words("never")
        if at - self.now > timedelta(minutes=1):
            return self.until(at)
        past = self.duration(self.now - at)
        return self.words("{span} ago", span=past) if past else self.words("just now")

    def until(self, at: datetime | None) -> str:
        """Return how long until: ``in 3 h 20 min``, ``now``, ``20 min ago``."""
        if at is None:
            return self.not_known
        if at < self.now:
            return self.ago(at) if self.duration(self.now - at) else self.words("now")
        ahead = self.duration(at - self.now)
        return self.words("in {span}", span=ahead) if ahead else self.words("now")

    def left(self, at: datetime | None) -> str:
        """Return what a deadline leaves: ``3 h 20 min left``, ``20 min overdue``."""
        if at is None:
            return ""
        if at < self.now:
            over = self.duration(self.now - at)
            return self.words("{span} overdue", span=over) if over else self.words("just overdue")
        left = self.duration(at - self.now)
        return self.words("{span} left", span=left) if left else self.words("no time left")

    def time(self, at: datetime | None, how: How = "when") -> Markup:
        """Return a ``<time>`` element: words as people say them, exact on hover and in print."""
        if at is None:
            return Markup("<span>{}</span>").format(
                self.words("never") if how == "ago" else self.not_known
            )
        words: str = getattr(self, how)(at)
        iso = self.local(at).isoformat(timespec="seconds")
        # How long ago stays true of no copy that a phone keeps; when does.
        old = Markup(' data-old="{}"').format(self.when(at)) if how == "ago" else ""
        return Markup('<time datetime="{}" title="{}"{}>{}</time>').format(
            iso, self.exact(at), old, words
        )

    def duration(self, span: timedelta) -> str:
        """Return a span of time in its two largest parts: ``3 h 20 min``; empty under a minute."""
        return span_words(span, speech=self.tongue, space=SPACE)

    def words(self, message: str, /, **values: str) -> str:
        """Return a message in the viewer's language, with its values in it."""
        return self.tongue.words(message, **values)

    @property
    def not_known(self) -> str:
        """What stands for a value that nobody has."""
        return self.words(NOT_KNOWN)


def _half_hour_before(local: datetime) -> datetime:
    return local - timedelta(
        minutes=local.minute % 30, seconds=local.second, microseconds=local.microsecond
    )
