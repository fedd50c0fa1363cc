"""How full a drum may be: not full of liquid at 55 °C, and what ADR says.

49 CFR 173.24a(d) (its text as amended to 2022) and ADR, IMDG 4.1.1.4 (from memory); the
regulations' text and the supplier rule.
"""

from dataclasses import dataclass

from drumkeep.domain.liquid_pressure import expanding
from drumkeep.domain.products import Product
from drumkeep.domain.wording import mass, temperature
from drumkeep.thermal.constants import DRUM_BRIM_M3
from drumkeep.thermal.headspace import FILL_C, HOT_C, adr_fill, most_fill


@dataclass(frozen=True)
class Filling:
    """How full a drum is at 20 °C, and may be; shares of the brim.

    ``full_c`` is the temperature (°C) at which the liquid fills it.
    """

    fill: float
    most_fill: float
    most_kg: float
    adr_fill: float
    adr_kg: float
    full_c: float

    @property
    def too_full(self) -> bool:
        """Whether it is full of liquid at 55 °C."""
        return self.full_c <= HOT_C


def filling_of(product: Product, *, net_kg: float) -> Filling:
    """Return how full a drum with so much of a product is."""
    density, expansion = expanding(product)
    brim_kg = DRUM_BRIM_M3 * density
    most, adr = most_fill(expansion_1_k=expansion), adr_fill(expansion_1_k=expansion)
    fill = net_kg / brim_kg
    return Filling(
        fill=fill,
        most_fill=most,
        most_kg=most * brim_kg,
        adr_fill=adr,
        adr_kg=adr * brim_kg,
        full_c=FILL_C + (1.0 / fill - 1.0) / expansion if fill > 0.0 else float("inf"),
    )


def too_full_caution(product: Product, *, net_kg: float) -> str | None:
    """Return the caution on a drum that is full of liquid at 55 °C; None where it is not."""
    filling = filling_of(product, net_kg=net_kg)
    if not filling.too_full:
        return None
    return (
        f"Too full: at {temperature(filling.full_c)} the liquid fills this drum, and nothing holds "
        f"it then. Keep it cool; take out liquid until {mass(filling.most_kg)} or less is left."
    )
