"""Labels: what stands on those of drums and places, and who printed which when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from drumkeep.domain import tags
from drumkeep.domain.labels import (
    MOST_AT_ONCE,
    SIZES,
    DrumLabel,
    Label,
    LabelSize,
    PlaceLabel,
    storage_words,
)
from drumkeep.domain.liquid_age import age_of
from drumkeep.domain.liquid_state import states_from_bytes
from drumkeep.domain.products import Side
from drumkeep.domain.roles import Action, may
from drumkeep.errors import Conflict, Fault, Invalid, Refused
from drumkeep.language.tongue import ENGLISH
from drumkeep.operations.drums import By
from drumkeep.operations.places import place_named
from drumkeep.storage import catalogue
from drumkeep.storage import drums as drum_rows
from drumkeep.storage import labels as rows
from drumkeep.storage.drums import StockRow
from drumkeep.storage.products import as_product
from drumkeep.storage.tables.catalogue import Place
from drumkeep.storage.tables.labels import LabelPrint
from drumkeep.storage.transaction import Tx


@dataclass(frozen=True)
class LabelOrder:
    """Labels to print: of drums by tag and of places as ``site/code``, in this order.

    ``start`` is the first free label of the first sheet, from 1. ``us`` puts °F before °C;
    ``language`` is that of whoever prints.
    """

    size: str
    drums: Sequence[str] = ()
    places: Sequence[str] = ()
    start: int = 1
    us: bool = True
    language: str = ENGLISH


@dataclass(frozen=True)
class PrintRun:
    """Labels that are known to exist, ready to be drawn."""

    labels: Sequence[Label]
    size: LabelSize
    start: int
    drum_ids: Sequence[int]
    place_ids: Sequence[int]


def label_run(tx: Tx, *, order: LabelOrder, public_url: str | None, by: By) -> PrintRun:
    """Look up what stands on labels; nothing is stored.

    Parameters
    ----------
    tx
        A transaction.
    order
        Which labels, on which size.
    public_url
        How phones reach the pages for years to come; without it no label is made, since the
        address that this request happened to use may be gone tomorrow.
    by
        Who prints.

    Raises
    ------
    Refused
        The role may not print.
    Invalid
        A drum, a place or the size is not known, there are none or too many, or the first label
        is not on the sheet.
    Conflict
        No public address is set.
    """
    if not may(by.role, Action.PRINT_LABELS):
        raise Refused(f"The role {by.role} may not {Action.PRINT_LABELS}.")
    address = address_for_codes(public_url)
    size = _size(order)
    wanted = dict.fromkeys(tags.parse(given, field="drums") for given in order.drums)
    found = [_drum(tx, tag) for tag in wanted]
    mixed = _mixed(tx, found)
    there = [
        place_named(tx, reference=given, field="places") for given in dict.fromkeys(order.places)
    ]
    sites = catalogue.sites_by_id(tx, ids=[place.site_id for place in there])
    return PrintRun(
        labels=[
            *(
                _drum_label(row, address=address, us=order.us, mixed=row.drum.id in mixed)
                for row in found
            ),
            *(
                _place_label(
                    place,
                    site=sites[place.site_id].code,
                    at=sites[place.site_id].name,
                    address=address,
                )
                for place in there
            ),
        ],
        size=size,
        start=order.start,
        drum_ids=[row.drum.id for row in found],
        place_ids=[place.id for place in there],
    )


def log_prints(tx: Tx, *, run: PrintRun, by: By, now: datetime) -> list[LabelPrint]:
    """Record that labels were printed; a drum's or place's second and later ones are reprints."""
    of_drums = rows.copies_of_drums(tx, ids=run.drum_ids)
    of_places = rows.copies_of_places(tx, ids=run.place_ids)

    def printed(copies: int, *, drum: int | None = None, place: int | None = None) -> LabelPrint:
        return LabelPrint(
            drum_id=drum,
            place_id=place,
            copy_number=copies + 1,
            size=run.size.code,
            at=now,
            account_id=by.account_id,
            by=by.name,
        )

    made = [printed(of_drums.get(i, 0), drum=i) for i in run.drum_ids]
    made += [printed(of_places.get(i, 0), place=i) for i in run.place_ids]
    tx.session.add_all(made)
    tx.session.flush()
    return made


def address_for_codes(public_url: str | None) -> str:
    """Return the address that codes on labels begin with.

    Raises
    ------
    Conflict
        The operator has set none.
    """
    if public_url is None:
        mend = (
            "Whoever runs the service sets it to the address at which phones will reach these "
            "pages for years, such as https://drums.example, and starts the service again."
        )
        raise Conflict(
            "No label can be printed yet: a label lasts for years, and nobody has said to which "
            "address its code is to lead.",
            [Fault("DRUMKEEP_PUBLIC_URL", None, "is not set", mend)],
        )
    return public_url


def _size(order: LabelOrder) -> LabelSize:
    faults = []
    size = SIZES.get(order.size)
    if size is None:
        mend = f"Use one of: {', '.join(SIZES)}. On smaller ones nobody could read the tag."
        faults.append(Fault("size", order.size, "is no size of label", mend))
    elif not 1 <= order.start <= size.per_sheet:
        mend = f"Give the first free label of the sheet, 1 to {size.per_sheet}."
        faults.append(Fault("start", order.start, "is not on the sheet", mend))
    count = len(order.drums) + len(order.places)
    if not 0 < count <= MOST_AT_ONCE:
        mend = f"Choose 1 to {MOST_AT_ONCE} drums or places at a time."
        faults.append(Fault("drums", count, "labels are too few or too many", mend))
    if size is None or faults:
        raise Invalid("Those labels cannot be printed.", faults)
    return size


def _drum(tx: Tx, tag: str) -> StockRow:
    found = drum_rows.list_drums(tx, tag=tag, present=False)
    if not found:
        mend = "Receive it first: the tag is given then."
        raise Invalid("No drum bears this tag.", [Fault("drums", tag, "is not known", mend)])
    if found[0].drum.ended is not None:
        mend = "Leave it out: a label on it would say that there is something to use."
        problem = f"was {found[0].drum.ended}"
        raise Conflict("That drum is gone.", [Fault("drums", tag, problem, mend)])
    return found[0]


def _mixed(tx: Tx, found: Sequence[StockRow]) -> set[int]:
    """Return the ids of drums into which liquid of another lot was poured, known or not."""
    lots = {row.drum.id: row.lot.id for row in found}
    pours = drum_rows.pours_into(tx, drum_ids=list(lots))
    donors = drum_rows.drums_by_id(tx, ids=[pour.donor_id for pour in pours])
    return {pour.drum_id for pour in pours if donors[pour.donor_id].lot_id != lots[pour.drum_id]}


def _drum_label(row: StockRow, *, address: str, us: bool, mixed: bool) -> DrumLabel:
    product = as_product(row.product)
    made = row.lot.made_on
    expires = product.expires_at(made_on=made, expires_on=row.lot.expires_on).date()
    if row.estimate is not None:  # what was poured in, and the drum's own label, may be older
        state = states_from_bytes([row.estimate.state])
        age = age_of(state, product=product, step=row.estimate.step)
        made, expires = age.made_at.date(), age.expires_at.date()
        mixed = mixed or bool(state["mixed_lots"][0])
    received = row.drum.received_at.astimezone(ZoneInfo(row.site.timezone)).date()
    return DrumLabel(
        address=f"{address}/d/{row.drum.tag}",
        tag=row.drum.tag,
        side=Side(row.product.side),
        product=row.product.name,
        lot=f"{row.lot.code} and others" if mixed else row.lot.code,
        made=made,
        expires=expires,
        received=received,
        store=storage_words(product, us=us),
    )


def _place_label(place: Place, *, site: str, at: str, address: str) -> PlaceLabel:
    reference = f"{site}/{place.code}"
    return PlaceLabel(
        address=f"{address}/places/{reference}",
        name=place.name,
        reference=reference,
        kind=place.kind.replace("_", " "),
        site=at,
    )
