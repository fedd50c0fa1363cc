"""Note which gateways send times that are refused."""

from collections.abc import Sequence
from datetime import datetime

from drumkeep.domain.readings import CLOCK_OFF, ArrivedPack
from drumkeep.storage import gateway_clocks
from drumkeep.storage.transaction import Tx


def note_clocks(
    tx: Tx,
    *,
    packs: Sequence[ArrivedPack],
    senders: Sequence[int | None],
    now: datetime,
) -> None:
    """Note of each gateway how far the time is off that it sent last and that was refused.

    Parameters
    ----------
    packs
        As they arrived.
    senders
        The id of each pack's gateway, if it has one.
    now
        When they are stored.
    """
    off: dict[int, float] = {}
    for pack, sender in zip(packs, senders, strict=True):
        if sender is None or not pack.rejections:
            continue
        ahead = [one.ahead_s for one in pack.rejections if one.ahead_s is not None]
        if ahead:
            off[sender] = min(ahead, key=abs)  # of a pack's times the newest tells of the clock
    for gateway_id, ahead_s in off.items():
        gateway_clocks.note_off(
            tx, gateway_id=gateway_id, ahead_s=ahead_s, now=now, unless_before=now - CLOCK_OFF
        )
