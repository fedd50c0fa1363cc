"""How long the liquid of many drums takes; JSON on standard output.

    python -m tests.benchmark.liquid [--drums 100000]

* the layers of all drums, three parameter sets, one 5-minute step (promised: 0.5 s and 1 GiB for
  100,000), and the same at a tenth and ten times as many: time grows in proportion;
* the engine with all that it remembers, one step of the same drums, without reading them in: a
  twelfth of what 13 steps take over one;
* 1,000 drums over a late batch of 14 hours, from their checkpoints (promised: 2 s);
* one drum under a year of hourly air (promised: 0.3 s).
"""

import argparse

import numpy as np

from drumkeep.domain.liquid import advance_drums
from drumkeep.domain.liquid_surroundings import liquid_of
from drumkeep.thermal.band import band_of
from drumkeep.thermal.march import march
from drumkeep.thermal.parameter_sets import NAMED_SETTING, SETS, spread_out
from drumkeep.thermal.stratified import LAYERS, Liquid, advance
from tests.benchmark.stock import FILLS_KG, places, stock
from tests.benchmark.timing import Timed, tell, timed
from tests.builders.past import ISO, RESIN, step

YEAR_H = 8760
LATE_H = 14.0
_ENGINE_STEPS = 12


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--drums", type=int, default=100_000, help="drums in stock")
    drums = parser.parse_args().drums
    tell(
        [
            *(layers_of(count, promised_for=drums) for count in (drums // 10, drums, drums * 10)),
            engine_step(drums),
            late_batch(1000),
            year_of_one_drum(),
        ]
    )


def layers_of(drums: int, *, promised_for: int) -> Timed:
    liquid = _liquid(drums)
    layers = np.full((SETS, drums, 1), 12.0) + np.linspace(0.0, 4.0, LAYERS)
    air = np.resize(np.linspace(-15.0, 30.0, 40), drums)

    def work() -> None:
        after = advance(layers, liquid=liquid, side_c=air, seconds=300.0)
        band_of(after, drive_k=np.abs(air - after[1].mean(axis=-1)))

    promised = 0.5 if drums == promised_for == 100_000 else None
    return timed(f"layers of {drums} drums, one step", work, over=layers, promised_s=promised)


def engine_step(drums: int) -> Timed:
    hours = 3.0
    around = places(hours=hours)
    pasts = stock(drums, around=around)
    over = np.zeros((SETS, drums, LAYERS))

    def march_to(steps: int) -> None:
        advance_drums(pasts, places=around, until=step(1.0) + steps)

    # what it takes to read the drums in is the same for any number of steps
    once = timed("", lambda: march_to(1), over=over)
    # and so much more of them that a machine under load does not drown what a step takes
    longer = timed("", lambda: march_to(1 + _ENGINE_STEPS), over=over)
    seconds = (longer.seconds - once.seconds) / _ENGINE_STEPS
    return Timed(
        what=f"engine, {drums} drums, one step",
        promised_s=0.5 if drums == 100_000 else None,
        seconds=seconds,
        fastest_s=(longer.fastest_s - once.fastest_s) / _ENGINE_STEPS,
        pass_s=once.pass_s,
        ratio_to_pass=seconds / once.pass_s,
        peak_mib=longer.peak_mib,
    )


def late_batch(drums: int) -> Timed:
    around = places(hours=1.0 + LATE_H)
    pasts = stock(drums, around=around)
    return timed(
        f"{drums} drums over a late batch of {LATE_H:g} h",
        lambda: advance_drums(pasts, places=around, until=step(1.0 + LATE_H)),
        over=np.zeros((int(LATE_H * 12), SETS, drums, LAYERS)),
        promised_s=2.0,
    )


def year_of_one_drum() -> Timed:
    hours = np.arange(YEAR_H + 1)
    air = 8.0 - 14.0 * np.cos(hours * 2.0 * np.pi / YEAR_H) + 6.0 * np.sin(hours * np.pi / 12.0)
    liquid = _liquid(1)
    start = np.full((SETS, 1, LAYERS), 10.0)
    return timed(
        "one drum under a year of hourly air, bands and all",
        lambda: march(
            start, liquid=liquid, air_c=air[:, None, None], drive_k=np.zeros(1), step_s=3600.0
        ),
        over=np.zeros((YEAR_H * 12, SETS, LAYERS)),
        promised_s=0.3,
    )


def _liquid(drums: int) -> Liquid:
    place = next(iter(places(hours=2.0).values()))
    return spread_out(
        liquid_of(
            [ISO if i % 2 else RESIN for i in range(drums)],
            mass_kg=np.resize(FILLS_KG, drums),
            films=[place.films] * drums,
            share=np.ones(drums),
        ),
        spread=NAMED_SETTING,
    )


if __name__ == "__main__":
    main()
