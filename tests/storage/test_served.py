"""Any number work on a database together, or one alone."""

from collections.abc import Iterator

import pytest

from drumkeep.errors import Conflict, Unavailable
from drumkeep.storage import served
from drumkeep.storage.engine import Engine, create
from tests.fixtures.stores import Store

pytestmark = pytest.mark.both_stores


@pytest.fixture
def engines(store: Store, tmp_path) -> Iterator[tuple[Engine, Engine]]:
    """Give what two processes have of one database."""
    with store.database(tmp_path) as url:
        one, other = create(url), create(url)
        yield one, other
        one.dispose()
        other.dispose()


def test_nobody_has_a_database_alone_while_others_work_on_it(engines):
    one, other = engines
    with (
        served.together(one),
        served.together(other),
        pytest.raises(Conflict, match="End every drumkeep process"),
        served.alone(other),
    ):
        pass

    with served.alone(other):
        pass


def test_nobody_begins_to_work_on_a_database_that_somebody_has_alone(engines):
    one, other = engines
    with served.alone(one):
        with pytest.raises(Unavailable, match="is being moved"), served.together(other):
            pass
        with pytest.raises(Conflict), served.alone(other):
            pass

    with served.together(other):
        pass
