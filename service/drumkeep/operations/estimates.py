"""Compute every drum whose past changed or whose present moved on: load, compute, store.

Loading and storing are transactions; computing is between them and touches no database, so that a
long computation holds nobody up. What changed meanwhile keeps its mark and is computed next time.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from drumkeep.domain.drum_past import Advanced, DrumPast, Measurement, first_measurement
from drumkeep.domain.drums import DrumFacts, fold
from drumkeep.domain.events import DrumEvent, EventKind, effective
from drumkeep.domain.grid import STEP_MS, step_at, to_ms
from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_age import LotLife, lot_life
from drumkeep.domain.liquid_observed import BY_HAND
from drumkeep.domain.liquid_start import StartAir
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.liquid_surroundings import PlaceHeat
from drumkeep.domain.places import PlaceKind
from drumkeep.domain.products import Product
from drumkeep.operations.donors import with_donors
from drumkeep.operations.glances import glances_of
from drumkeep.operations.ground import Ground, Premises, read_ground
from drumkeep.operations.kept_outlooks import LookAhead
from drumkeep.operations.outlooks import look_ahead
from drumkeep.operations.shelf_air import as_stored
from drumkeep.operations.straps import read_straps
from drumkeep.operations.surroundings import read_places, start_air
from drumkeep.operations.verdicts import Known, judge_drums
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import estimates as estimate_rows
from drumkeep.storage import glances as glance_rows
from drumkeep.storage import measurements as measurement_rows
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Lot
from drumkeep.storage.tables.drums import Drum
from drumkeep.storage.tables.estimates import Estimate, Glance
from drumkeep.storage.tables.measurements import Measurement as MeasurementRow
from drumkeep.storage.transaction import Tx

START_HOURS: Final = 48
"""Air of this long before a receipt gives the starting state."""

DAY_STEPS: Final = 24 * 12


@dataclass(frozen=True)
class Task:
    """One drum to compute: its row as read, and where it starts.

    ``due`` is False for a drum that only comes along because liquid of it was poured into another.
    """

    drum: Drum
    lot: Lot
    product: Product
    facts: DrumFacts
    past: DrumPast
    checkpoint: int | None
    due: bool


@dataclass(frozen=True)
class Work:
    """Everything one computation needs."""

    now: datetime
    step: int
    tasks: Sequence[Task]
    places: Mapping[int, PlaceHeat]
    ground: Ground


@dataclass(frozen=True)
class Outcome:
    """What a computation gave, ready to store."""

    work: Work
    advanced: Advanced
    estimates: Sequence[Estimate]
    glances: Sequence[Sequence[Glance]]
    shelf_airs: Mapping[int, Any]


def load(
    tx: Tx,
    *,
    since: Mapping[int, int | None],
    now: datetime,
    others: Mapping[int, int | None] | None = None,
) -> Work:
    """Read what it takes to compute drums.

    Parameters
    ----------
    tx
        Any transaction.
    since
        Drums, and from which time (epoch ms) their past changed; None where it did not.
    now
        The present, UTC.
    others
        All drums whose past changed, those not computed here too: what is stored of them past that
        time does not hold, and liquid of them may have gone into these.
    """
    step = step_at(now)
    changes = {**(others or {}), **since}
    starts = with_donors(tx, changes=changes, due=since, step=step)
    rows = drum_rows.drums_by_id(tx, ids=list(starts))
    log = drum_rows.events_of(tx, drum_ids=list(rows))
    catalogue = drum_rows.lots_and_products(tx, lot_ids=[d.lot_id for d in rows.values()])
    # One object for all lots of a product: drums that are alike share what lies ahead of them.
    known = {product.id: as_product(product) for _, product in catalogue.values()}
    products = {lot_id: known[product.id] for lot_id, (_, product) in catalogue.items()}
    events_of = {drum_id: effective(events) for drum_id, events in log.items()}
    facts_of = {
        drum_id: fold(events_of[drum_id], product=products[drum.lot_id])
        for drum_id, drum in rows.items()
    }
    ground = read_ground(tx, around=whereabouts(facts_of.values()))
    start_airs = _StartAirs(tx, ground)
    tasks = []
    for drum_id, drum in rows.items():
        product, events, facts = products[drum.lot_id], events_of[drum_id], facts_of[drum_id]
        found = starts[drum_id]
        receipt = step_at(facts.received_at)
        if found is not None and (
            found[0] <= receipt or _start_is_open(events, changed=changes.get(drum_id))
        ):
            found = None
        start = receipt if found is None else found[0]
        tasks.append(
            Task(
                drum=drum,
                lot=catalogue[drum.lot_id][0],
                product=product,
                facts=facts,
                checkpoint=None if found is None else found[0],
                due=drum_id in since,
                past=DrumPast(
                    key=drum_id,
                    product=product,
                    events=[
                        e
                        for e in events
                        if e.kind is not EventKind.WANTED
                        and (found is None or step_at(e.at) >= start)
                    ],
                    start=start,
                    state=None if found is None else states_from_bytes([found[1]]),
                    start_air=start_airs.of(facts, receipt=events[0]) if found is None else None,
                    share=drum.share,
                    life=_life(catalogue[drum.lot_id][0], product=product),
                ),
            )
        )
    tasks.sort(key=lambda task: not task.due)
    straps = read_straps(tx, firsts={t.drum.id: t.past.start for t in tasks}, last=step)
    tasks = [
        replace(task, past=replace(task.past, straps=straps[task.drum.id]))
        if task.drum.id in straps
        else task
        for task in tasks
    ]
    first = min([task.past.start for task in tasks] + [step - DAY_STEPS])
    return Work(
        now=now,
        step=step,
        tasks=tasks,
        places=read_places(
            tx, ground=ground, place_ids=_places(tasks, ground), first=first, last=step
        ),
        ground=ground,
    )


def _life(lot: Lot, *, product: Product) -> LotLife:
    return lot_life(product, lot=lot.id, made_on=lot.made_on, expires_on=lot.expires_on)


def _start_is_open(events: Sequence[DrumEvent], *, changed: int | None) -> bool:
    """Tell whether a change (epoch ms) lies before the measurement that set the drum's start.

    What the measurement says of the start hangs on all that happened from the receipt up to it.
    """
    first = None if changed is None else first_measurement(events, receipt=events[0])
    return first is not None and changed is not None and changed <= to_ms(first.at)


def whereabouts(facts: Iterable[DrumFacts]) -> set[int]:
    """Places that drums ever were in or came from."""
    return {
        place
        for one in facts
        for place in (one.origin, *(stay.place for stay in one.stays))
        if place is not None
    }


def _places(tasks: Iterable[Task], ground: Ground) -> set[int]:
    """Places the drums were in since their start, and the warm rooms they might go to."""
    wanted: set[int] = set()
    for task in tasks:
        for stay in task.facts.stays:
            if stay.until is None or step_at(stay.until) >= task.past.start:
                wanted.add(stay.place)
        room = ground.warm_room_for(task.facts.place)
        if room is not None:
            wanted.add(room.id)
    return wanted


def origin_of(premises: Premises, facts: DrumFacts) -> int:
    """Return the place whose air set a drum's start: where it came from, the site's dock, or here.

    Where nobody said whence it came, the air is a guess (``StartAir.named``).
    """
    if facts.origin is not None:
        return facts.origin
    first = facts.stays[0].place
    docks = [p.id for p in premises.beside(first) if p.kind == PlaceKind.DOCK]
    return docks[0] if docks else first


class _StartAirs:
    """The air where drums came from; those of one delivery share it."""

    def __init__(self, tx: Tx, ground: Ground) -> None:
        self._tx, self._ground = tx, ground
        self._told: dict[tuple[int | None, int, datetime], StartAir | None] = {}

    def of(self, facts: DrumFacts, *, receipt: DrumEvent) -> StartAir | None:
        """Return what tells a drum's start; None where it was measured, or nothing tells it."""
        origin = origin_of(self._ground, facts)
        if receipt.data.get("liquid_c") is not None:
            return None
        key = facts.origin, facts.stays[0].place, facts.received_at
        if key not in self._told:
            self._told[key] = self._read(origin, facts=facts)
        return self._told[key]

    def _read(self, origin: int, *, facts: DrumFacts) -> StartAir | None:
        found = start_of(self._tx, self._ground, origin=origin, facts=facts)
        if found is None:
            return None
        (low, mean, high), place = found
        return StartAir(low_c=low, mean_c=mean, high_c=high, named=place == facts.origin)


def start_of(
    tx: Tx, ground: Ground, *, origin: int, facts: DrumFacts
) -> tuple[tuple[float, float, float], int] | None:
    """Return lowest, mean and highest air (°C) that a drum began in, and the place that told it.

    Where no air of its origin is on record, that of where it was put says more than nothing.
    """
    for place in dict.fromkeys((origin, facts.stays[0].place)):
        at = facts.received_at
        found = start_air(tx, ground=ground, place_id=place, at=at, hours=START_HOURS)
        if found is not None:
            return found, place
    return None


def compute(work: Work, *, look: LookAhead = look_ahead) -> Outcome:
    """Advance the drums to the present and judge them; no database.

    Parameters
    ----------
    work
        What was loaded.
    look
        Looks ahead for them; what is kept from round to round is its own affair.
    """
    advanced = advance_drums(
        [task.past for task in work.tasks], places=work.places, until=work.step
    )
    known = [
        Known(
            drum_id=task.drum.id,
            product=task.product,
            facts=task.facts,
            share=task.drum.share,
        )
        for task in work.tasks
        if task.due
    ]
    estimates = judge_drums(
        known,
        states=advanced.states[: len(known)],
        step=work.step,
        places=work.places,
        premises=work.ground,
        now=work.now,
        look=look,
    )
    return Outcome(
        work=work,
        advanced=advanced,
        estimates=estimates,
        glances=[
            glances_of(estimate, facts=one.facts, product=one.product)
            for estimate, one in zip(estimates, known, strict=True)
        ],
        shelf_airs=as_stored(work.places, premises=work.ground, step=work.step),
    )


def store(tx: Tx, *, outcome: Outcome) -> int:
    """Store a computation; drums that an event changed meanwhile are left for the next.

    Returns
    -------
    int
        How many drums were stored.
    """
    work = outcome.work
    now_rows = drum_rows.drums_by_id(tx, ids=[task.drum.id for task in work.tasks])
    fresh = set()
    for row, task in enumerate(work.tasks):
        drum = now_rows[task.drum.id]
        if drum.revision == task.drum.revision:
            if task.due:
                fresh.add(row)
            if task.due and drum.from_ms is not None:
                drum.from_ms = None
                tx.session.add(drum)
        else:
            begun = task.past.start * STEP_MS
            drum.from_ms = begun if drum.from_ms is None else min(drum.from_ms, begun)
            tx.session.add(drum)
    stored = [estimate for row, estimate in enumerate(outcome.estimates) if row in fresh]
    estimate_rows.put(tx, estimates=stored)
    glance_rows.put(
        tx,
        rows=[glance for row in sorted(fresh) for glance in outcome.glances[row]],
        of=[work.tasks[row].drum.id for row in sorted(fresh)],
    )
    glance_rows.put_shelf_airs(tx, told=outcome.shelf_airs, step=work.step)
    after = {
        work.tasks[row].drum.id: (-1 if (step := work.tasks[row].checkpoint) is None else step)
        for row in fresh
    }
    rows = []
    for checkpoint in outcome.advanced.checkpoints:
        for row, state in zip(checkpoint.drums, checkpoint.states, strict=True):
            if int(row) in fresh:
                rows.append((work.tasks[int(row)].drum.id, checkpoint.step, state.tobytes()))
    estimate_rows.replace_checkpoints(tx, after=after, rows=rows)
    measurement_rows.replace(
        tx,
        since={task.drum.id: task.checkpoint or 0 for task in (work.tasks[row] for row in fresh)},
        rows=[
            _measurement_row(met, drum_id=work.tasks[met.drum].drum.id)
            for met in outcome.advanced.measurements
            if met.drum in fresh
        ],
    )
    return len(stored)


def _measurement_row(met: Measurement, *, drum_id: int) -> MeasurementRow:
    reading, taken = met.reading, met.taken
    return MeasurementRow(
        drum_id=drum_id,
        step=taken.step,
        event_id=met.event,
        sensor_id=None if reading.source == BY_HAND else reading.source,
        on_wall=reading.on_wall,
        height_m=reading.height_m,
        measured_c=taken.measured_c,
        computed_c=taken.computed_c,
        after_c=taken.after_c,
        innovation_k=taken.innovation_k,
        expected_k=taken.expected_k,
        sigma_k=taken.sigma_k,
        use=taken.use.value,
    )
