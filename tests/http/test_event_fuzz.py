"""Whatever is sent as an event, the answer is an event or a problem, and never a defect of ours."""

import json
import random
from typing import Any
from uuid import uuid4

import pytest

from drumkeep.domain.roles import Role
from tests.builders.stock import FIELDS, ago, event
from tests.fixtures.answers import check_problem, stored
from tests.fixtures.serving import serving
from tests.fixtures.yard import API, yard

__all__ = ["serving", "yard"]

REQUESTS = 300
SEED = 20260205

NASTY: list[Any] = [
    None, True, False, 0, -0.0, -1, 1, 2**53, 2**63 - 1, 2**63, 10**400, 5e-324, 1e-9, 1e300,
    float("nan"), float("inf"), "", " ", "0", "\x00", "\ud800", "x" * 300, "x" * 20_000, "é" * 50,
    "' OR 1=1 --", "2026-02-30T00:00:00Z", "2026-01-31T05:00:00", "9999-12-31T23:59:59Z",
    "0000-00-00T00:00:00Z", "2026-12-31T23:59:60Z", [], [[]], {}, {"": ""}, {"c": 1},
]  # fmt: skip
NUMBERS = {
    "gross_kg": [18.1, 18.2, 60.0, 250.0, 284.0],
    "kg": [0.001, 1, 30.0, 200.0],
    "c": [-60.0, -7, 5.0, 18.0, 60.0, 150.0],
    "height_m": [0.0, 0.001, 0.2, 0.8],
    "sigma_k": [1e-6, 0.3, 10.0],
    "kpa": [0.0, 14.0, 20.0],
    "minutes": [0.001, 30, 600.0],
    "watts": [1e-9, 400, 5000.0],
}
NAMES = sorted({name for fields in FIELDS.values() for name in fields} | {"note", "new_at", "data"})
ENDS = {"emptied", "disposed"}


def valid(dice, kind, *, tags, places, events):
    """Make an event that can be, if only the drum is as it must be."""
    body = event(kind, at=ago(dice.uniform(0.0, 0.9)))
    body |= {name: dice.choice(NUMBERS[name]) for name in body if name in NUMBERS}
    own = {
        "moved": {"to": dice.choice(places)},
        "wanted": {"at": ago(-dice.uniform(0.0, 60.0))},
        "topped": {"from": dice.choice(tags)},
        "decanted": {"to": dice.choice(tags)},
        "heated": {"until": ago(dice.uniform(-9.0, 0.9))},
        "corrected": {"event": dice.choice(events)},
    }
    body |= own.get(kind, {})
    if kind == "corrected" and dice.random() < 0.7:
        body |= {"void": False, "new_at": ago(dice.uniform(-0.1, 1.1))}
    return body


def spoilt(dice, body, *, tags, places, events):
    """Change some of an event: fields, their values, or all of it."""
    body = dict(body)
    for _ in range(dice.choice([1, 1, 2, 5])):
        name = dice.choice([*body, *NAMES])
        usual = [*NUMBERS.get(name, []), *tags, *places, *events, "none", "seen"]
        body[name] = dice.choice([*NASTY, *usual])
    if dice.random() < 0.2:
        body.pop(dice.choice([*body]))
    if dice.random() < 0.2:
        name = dice.choice(NAMES)
        changes = {name: dice.choice([*NASTY, *NUMBERS.get(name, []), *places])}
        body |= {"kind": "corrected", "event": dice.choice(events), "void": False, "data": changes}
    return body if dice.random() < 0.95 else dice.choice(NASTY)


@pytest.mark.slow
def test_three_hundred_events_of_all_sorts_break_nothing(yard):
    dice = random.Random(SEED)  # noqa: S311 - no secret
    tags = [yard.receive(at=ago(1.0), net_kg=kg)["tag"] for kg in (250.0, 40.0, 1.0)]
    tags += [yard.receive(product=yard.resin, liquid_c=None)["tag"]]
    places = [yard.place(name) for name in ("hall", "van", "room")]
    events = [yard.history(tag)["events"][0]["id"] for tag in tags] + [str(uuid4())]
    clients = [yard.client, yard.client, yard.serving.client(Role.CREW)]
    accepted = 0
    for number in range(REQUESTS):
        tag = dice.choice([*tags, tags[0], "K7Q-X4M"])
        kind = dice.choice(sorted(set(FIELDS) - ENDS) if dice.random() < 0.99 else sorted(ENDS))
        among = {"tags": tags, "places": places, "events": events}
        body = valid(dice, kind, **among)
        if dice.random() < 0.9:
            body = spoilt(dice, body, **among)
        before = stored(yard.serving)

        answer = dice.choice(clients).post(
            f"{API}/drums/{tag}/events",
            content=json.dumps(body),
            headers={"Content-Type": "application/json"},
        )

        context = (number, tag, body, answer.text)
        assert answer.status_code in {201, 403, 404, 409, 422}, context
        if answer.status_code == 201:
            accepted += 1
            events.append(answer.json()["event"]["id"])
        else:
            check_problem(answer, answer.status_code)
            assert stored(yard.serving) == before, context
    clients[-1].close()

    assert 10 < accepted < REQUESTS / 2  # both ways were taken
    yard.advance()
    for tag in tags:
        assert yard.get(tag)["tag"] == tag
        assert yard.history(tag)["points"]
