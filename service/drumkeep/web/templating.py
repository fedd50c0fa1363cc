"""Renders pages: one Jinja2 environment, autoescaped, strict about missing names.

``render(name, **context)`` needs, beyond what each page lists, these of every page inside
``base.html``:

* ``viewer``: ``Viewer`` or None (nobody signed in; the default); ``formats``: ``Formats``;
* ``nonce``: the nonce of the page's Content-Security-Policy; ``page``: ``floor``, ``alarms``,
  ``stock``, ``sensors``, ``drum``, ``products``, ``methods`` or empty; ``alarm_count``: open alarms
  for the navigation, or None; ``here``: path and query of the page, to come back to after
  switching units.

====================  ============================================================================
template              context
====================  ============================================================================
``floor.html``        ``floor``: ``FloorView``
``floor_table.html``  ``floor``, ``rows``: drums in order, ``sort``: column, ``descending``: bool,
                      ``total``: drums in all, ``number``: which page of ``pages``
``drum.html``         ``drum``: ``DrumView``, ``events``: ``EventView`` newest first, ``actions``:
                      ``ActionView``, ``history``: ``HistoryRow`` (may be empty), ``prints``:
                      ``PrintView`` latest first, ``papers``: ``PapersView``, ``ahead``: ``here``
                      or ``warm_room``
``verdict.html``      ``verdict``: ``VerdictView`` (a page of its own, not inside the base)
``alarms.html``       ``alarms``: ``AlarmView``, oldest unacknowledged first, ``checked_at``
``why.html``          ``why``: ``WhyView``
``products.html``     ``products``: ``ProductLine``
``product.html``      ``product``: ``ProductView``, ``points``: ``PointsField``, ``may_change``
``methods.html``      ``plots``: ``MethodPlots``, ``cases``: errors of the layer model, worst first,
                      ``products``: by name, and the modules that numbers are printed from
``sensors.html``      ``spots``: ``SpotView``, ``loose``: names of sensors that hang nowhere,
                      ``strays``: ``StrayView``, ``places``: (code, words), ``may_change``,
                      ``devices``: ``DeviceViews``, ``sought``: words, ``number``: which page of
                      ``pages``, ``before`` and ``after``: addresses of the pages beside
``readings_import``   ``kept``: the file in texts, ``columns``: ``ColumnView``, ``choices``: sensors
(``.html``)           as (name, words), ``units``, ``sites``, ``faults``: (label, fault, mend),
                      ``report``: ``ImportReport`` or None, ``shares``: ``ShareView``,
                      ``stored``, ``given``: the form as sent
``import.html``       ``given``: the form as sent, ``faults``: sentences, ``kept`` as above,
                      ``columns``: needed ones and others by noun, ``report``: ``SheetReport``
                      or None, ``rows``: ``RowFate``, ``undrawn``: how many more
``export.html``       ``sites``: (code, words), ``first`` and ``last``: days, ``may_import``,
                      ``may_take_all``
``pulls.html``        ``given``: the form as filled in, ``error`` or None, ``faults``:
                      (label, fault), ``sites`` and ``pairs``: (code, words), ``open`` and
                      ``past``: ``PullHead``, ``may_pull``
``pull.html``         ``pull``: ``PullView``, ``codes`` by tag, ``error``, ``faults`` in words,
                      ``refused``: a tag, ``wrong``: ``WrongDrum`` or None, ``instead_in``:
                      a place, ``may_pull``
``hookup.html``       ``given``, ``faults``: (label, fault), ``rigs``: (code, words), ``pulls``:
                      ids, ``checks``: ``CheckLine``, ``older``: id or None, ``query``, ``answers``,
                      ``cautions``, ``may_check``
``hookup_answer``     ``check``: ``CheckView``, ``cautions``
(``.html``)
``sign_in.html``      ``csrf``, ``next``, ``name`` as typed before, ``error``: text or None,
                      ``company``: whether one can sign in with the company's account
``own_password.html`` ``csrf``, ``next``, ``chit``: shows that the temporary password was given,
                      ``name`` and ``person``: whose, ``faults``, ``shortest``: characters
``gateways.html``     ``gateways``: ``GatewayView``, ``given``: ``GivenPassword`` or None,
                      ``may_change``, ``writes_files``
``mappings.html``     ``mappings``: ``KnownMapping``, ``expressions``, ``given``: the form as sent,
                      ``faults``, ``tried``: ``TrialView`` or None, ``gateways``, ``may_change``
``labels.html``       ``query``: ``LabelQuery``, ``drums``: ``LabelLine``, ``left_out``, ``places``
                      and ``choices``: (code, words), ``sizes``: ``LabelSize``, ``size``: a code,
                      ``address``: that codes begin with or None, ``may_print``
``receive.html``      ``given``: the form as filled in, ``faults``, ``facts`` and ``doubts`` of a
                      label, ``lots``: what its lot may be, ``products``, ``places``,
                      ``focus``: a field or empty, ``may_receive``
``receipt.html``      ``receipt``: ``ReceiptView``, ``photos``: ``PhotoView``, ``shows``: what a
                      photo may show as (value, words), ``may_receive``
``trace.html``        ``query``: ``TraceQuery``, ``trace``: ``TraceView`` or None, ``title``,
                      ``choices``: products as (code, name), ``faults``: (label, fault), ``places``
``claims.html``       ``claims``: ``ClaimRow``, newest first
``claim.html``        ``claim``: ``ClaimView``, ``state``: in words, ``notes``: ``NoteView``,
                      ``photos``, ``shows``, ``states``: (value, words), ``note_id``, ``may_note``,
                      ``may_settle``
``stock.html``        ``stock``: ``StockView``
``losses.html``       ``months``: ``MonthView``, ``sites`` and ``site`` as in ``StockView``,
                      ``currency``
``prices.html``       ``lines``: ``PriceLine``, ``currency``, ``may_change``
``counts.html``       ``counts``: ``CountLine``, ``places``: (code, words), ``chosen``,
                      ``id``: of the form, ``may_count``
``count.html``        ``count``: ``CountView``, ``may_count``
``consumables.html``  ``items``: ``ConsumableView``, ``kinds`` and ``places``: (code, words),
                      ``may_record``, ``may_change``
``rig_checks.html``   ``rigs``: ``RigView``, ``checks``: ``CheckLine``, ``days``, ``may_record``
``move.html``         ``plan``: what was picked so far, ``listed`` and ``beside``: ``CarriedView``,
                      ``beside_words``, ``choices``: (code, words), ``to``: a place or None,
                      ``faults``, ``may_record``
``scan.html``         ``code`` as scanned or typed, ``faults``
``moved.html``        ``move``: ``MovedView`` or None, ``may_undo``
``me.html``           ``account``: signs in as, ``chosen``: language or empty, ``faults``,
                      ``devices``: ``DeviceLine``, ``identities``: ``IdentityLine``, ``company`` as
                      above, ``company_at``: where to go to link it, ``token_faults``, and what
                      ``tokens.html`` takes
``tokens.html``       ``tokens``: ``TokenLine``, ``made``: ``MadeToken`` or None, ``faults``,
                      ``typed``: ``TokenForm``, ``lasting``: (days, words)
``audit.html``        ``lines``: ``AuditLine``, ``asked``: the search, ``people``: sign-in names,
                      ``older``, ``newest``, ``csv``: addresses or None, ``most``: lines of a file,
                      ``faults``, ``zone``: of the days that are asked for
``people.html``       ``people``: ``PersonLine``, ``code``: ``PhoneCode`` or None, ``faults``,
                      ``faulty``: whose, or empty for the new one's, ``typed``: the form as sent
``phone.html``        ``csrf``, ``person``: whom the pass signs in, ``secret``: of the pass
``waiting.html``      ``titles``: what each kind of event is called, ``fields``: and each field,
                      ``choices``: and what is chosen in one,
                      ``parts`` of a rig, ``findings`` of a look at one
``no_connection``     ``hookup``: whether a check of two drums was asked for
(``.html``)
``problem.html``      ``problem``: ``ProblemView``
====================  ============================================================================

Forms post, with ``csrf``: ``/sign-in`` (name, password, next), ``/sign-out``, ``/me/units``
(units, next), ``/me/language`` (language, next), ``/alarms/{id}/acknowledge`` (next),
``/products/{code}/points`` (units, and for each property a field of lines and one of which sheet),
``/drums/{tag}/events`` (id, kind, units, and the fields of ``macros/actions.html`` in the viewer's
units and the site's local time). The chart is read from
``/drums/{tag}/chart.json?ahead=here|warm_room&scheme=light|dark``, changes from the event stream
``/live`` (event ``changed``), BokehJS from ``/bokeh/js/bokeh.min.js``.
"""

from dataclasses import replace
from functools import lru_cache, partial
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from drumkeep.errors import Fault
from drumkeep.language.tongue import ENGLISH, LANGUAGES, Tongue, catalogue, tongue
from drumkeep.web import drum_words, wording
from drumkeep.web.airline import air_drawing
from drumkeep.web.cautions import cautions_for, verdict_cautions
from drumkeep.web.drawings import Drawings
from drumkeep.web.figure import Figure, Size, drawn_by_group, figure
from drumkeep.web.formats import Formats
from drumkeep.web.mathml import formula
from drumkeep.web.plot import drawing
from drumkeep.web.view_models import GroupView, TaskView

HERE: Final = Path(__file__).parent
STATIC: Final = HERE / "static"
TEMPLATES: Final = HERE / "templates"
_SCRIPTS: Final = "web/static/js/"
"""Where the catalogue says that a message of a script stands."""

_EVERYWHERE: Final[dict[str, object]] = {
    "viewer": None,
    "formats": None,
    "nonce": "",
    "page": "",
    "alarm_count": None,
    "here": "/floor",
    "disk_full": False,
    "jobs": None,
}


def render(name: str, /, **context: object) -> str:
    """Return a page as HTML.

    Parameters
    ----------
    name
        File in ``templates``, such as ``floor.html``.
    context
        What the module's docstring lists for it. The page is in the language of ``formats``; one
        without is in English.

    Raises
    ------
    jinja2.UndefinedError
        A name that the template needs was not given.
    """
    formats = context.get("formats")
    language = formats.language if isinstance(formats, Formats) else ENGLISH
    return environment(language).get_template(name).render({**_EVERYWHERE, **context})


@lru_cache
def environment(language: str = ENGLISH) -> Environment:
    """Return a language's environment: everything escaped, unknown names refused.

    Texts of templates stand in ``{% trans %}`` and ``_()``; what Python composed for people goes
    through the filter ``say``. What people typed is shown as they typed it.
    """
    spoken = tongue(language)
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n"],
    )
    made.policies["ext.i18n.trimmed"] = True
    # The extension gives environments this method when it is made.
    made.install_gettext_translations(spoken.translations, newstyle=True)  # type: ignore[attr-defined]
    made.filters["say"] = partial(_said, spoken)
    given: dict[str, Any] = {
        "language": spoken.code,
        "languages": LANGUAGES,
        "script_words": _script_words(spoken),
        "w": wording,
        "drum_words": drum_words,
        "cautions_for": cautions_for,
        "verdict_cautions": verdict_cautions,
        "figure": figure,
        "floor_group": floor_group,
        "floor_task": floor_task,
        "no_drawings": Drawings,
        "drum_drawing": partial(drum_drawing, language=spoken.code),
        "air_drawing": air_drawing,
        "drawn_by_group": drawn_by_group,
        "formula": formula,
        "drawing": drawing,
        "static": static_address,
        "styles": styles,
    }
    made.globals.update(given)
    return made


def _script_words(spoken: Tongue) -> dict[str, str]:
    """Return what scripts say (``say.js``), by what it is in English, which they say unhelped."""
    if spoken.code == ENGLISH:
        return {}
    return {
        message.id: str(message.string)
        for message in catalogue(spoken.code)
        if isinstance(message.id, str)
        and any(place.startswith(_SCRIPTS) for place, _ in message.locations)
    }


def _said(spoken: Tongue, shown: object) -> object:
    """Say what a template shows; a fault part by part, since its value is the asker's own."""
    if isinstance(shown, Fault):
        return shown.told(spoken.say)
    return spoken.say(shown) if type(shown) is str else shown  # markup and numbers stay


@lru_cache(maxsize=4096)
def drum_drawing(
    f: Figure,
    /,
    *,
    size: Size,
    side: str,
    readiness: str,
    conditions: tuple[str, ...],
    language: str = ENGLISH,
) -> Markup:
    """Return the inside of a drum figure: of ten thousand drums some hundred look different."""
    template = environment(language).get_template("macros/drum_drawing.html")
    drawn = template.render(f=f, size=size, side=side, readiness=readiness, conditions=conditions)
    return Markup(drawn)  # noqa: S704 - our template, which escapes


def floor_group(
    group: GroupView, /, *, key: str, place: str, share: int, formats: Formats, drawings: Drawings
) -> Markup:
    """Return the drums of one lot in one place, as the floor shows them.

    Parameters
    ----------
    group
        The drums.
    key
        Tells it from the other groups of the page.
    place
        Code of the place.
    share
        How many of its drums are drawn singly.
    formats
        In the site's zone. Its words change with the day, not with the minute.
    drawings
        Gets those that the page must have for it.
    """
    drawn, used = _floor_group(group, key=key, place=place, share=share, formats=_of_day(formats))
    drawings.take(used)
    return drawn


def _of_day(formats: Formats) -> Formats:
    """Return the same for all of the day, for words that change with it and not by the minute."""
    day = formats.local(formats.now).replace(hour=0, minute=0, second=0, microsecond=0)
    return replace(formats, now=day)


def floor_task(task: TaskView, /, *, floor_page: str, formats: Formats) -> Markup:
    """Return what there is to do about one cause, as the list "Now" shows it, without the form.

    Parameters
    ----------
    task
        What is to be done.
    floor_page
        Address of the floor where the list stands elsewhere, else nothing.
    formats
        In the site's zone. What a deadline leaves changes by the minute, all else with the day.
    """
    if task.deadline is not None:
        return _task(task, floor_page=floor_page, formats=formats)
    return _kept_task(task, floor_page=floor_page, formats=_of_day(formats))


@lru_cache(maxsize=2048)
def _kept_task(task: TaskView, /, *, floor_page: str, formats: Formats) -> Markup:
    """Render it: where there are hundreds, most are as they were at the last look."""
    return _task(task, floor_page=floor_page, formats=formats)


def _task(task: TaskView, /, *, floor_page: str, formats: Formats) -> Markup:
    template = environment(formats.language).get_template("macros/floor_task.html")
    drawn = template.render(task=task, floor_page=floor_page, formats=formats)
    return Markup(drawn)  # noqa: S704 - our template, which escapes


@lru_cache(maxsize=2048)
def _floor_group(
    group: GroupView, /, *, key: str, place: str, share: int, formats: Formats
) -> tuple[Markup, Drawings]:
    """Render it: where a floor is looked at again, most groups are as they were."""
    template = environment(formats.language).get_template("macros/floor_group.html")
    used = Drawings()
    drawn = template.render(
        group=group, key=key, place=place, share=share, formats=formats, drawings=used
    )
    return Markup(drawn), used  # noqa: S704 - our template, which escapes


@lru_cache(maxsize=64)
def static_address(path: str) -> str:
    """Return the address of a static file, marked with its content so that caches never lie."""
    digest = sha256((STATIC / path).read_bytes()).hexdigest()[:10]
    return f"/static/{path}?v={digest}"


@lru_cache(maxsize=16)
def styles(*names: str) -> Markup:
    """Return style sheets as one text, for the page that must come in a single answer.

    The sheets are ours and fixed; nothing from outside goes through here unescaped.
    """
    return Markup("\n".join((STATIC / "css" / name).read_text("utf-8") for name in names))  # noqa: S704
