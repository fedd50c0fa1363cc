"""Numbers in addresses that no database counts to: nothing is there, and that is all."""

import re
from collections.abc import Iterator
from typing import Any

from drumkeep.asgi.problems import MEDIA_TYPE
from drumkeep.domain.roles import Role
from tests.fixtures.answers import check_problem
from tests.fixtures.people import signed_in
from tests.fixtures.serving import serving

__all__ = ["serving"]

BEYOND = (2**63, 10**30, -1)


def numbered(found: Any) -> Iterator[tuple[str, str]]:
    """Walk what the app serves: method and address of all that has a whole number in it."""
    for route in found:
        if hasattr(route, "effective_candidates"):
            yield from numbered(route.effective_candidates())
            continue
        params = route.dependant.path_params if hasattr(route, "dependant") else ()
        whole = [one.alias for one in params if one.field_info.annotation is int]
        path = route.path.replace(":path", "")
        for name in whole:
            path = path.replace(f"{{{name}}}", "{#}")
        if whole:
            yield from ((method, re.sub(r"\{\w+\}", "mara", path)) for method in route.methods)


def test_a_number_that_nothing_bears_is_not_found_at_any_address(serving):
    addresses = set(numbered(serving.app.routes))
    assert len(addresses) > 30
    with serving.client(Role.MANAGER) as program, signed_in(serving, Role.MANAGER) as person:
        csrf = {"csrf": person.csrf()}
        for method, address in sorted(addresses):
            for number in BEYOND:
                path = address.replace("{#}", str(number))
                if path.startswith("/api/"):
                    check_problem(program.request(method, path, json={}), 404, None)
                    continue
                answer = person.client.request(method, path, data=csrf)
                assert answer.status_code == 404, (method, path, answer.text[:300])
                assert answer.headers["Content-Type"] != MEDIA_TYPE
            last = address.replace("{#}", str(2**63 - 1))
            if last.startswith("/api/"):
                answer = program.request(method, last, json={})
            else:
                answer = person.client.request(method, last, data=csrf)
            assert answer.status_code in {404, 422}, last
