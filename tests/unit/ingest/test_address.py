import pytest

from drumkeep.errors import Invalid
from drumkeep.ingest.address import broker_at


@pytest.mark.parametrize("url", ["amqp://host", "mqtt://host:port", "mqtt://", "host"])
def test_what_is_no_brokers_address_is_refused_and_not_repeated(url):
    with pytest.raises(Invalid) as refused:
        broker_at(url, root="drumkeep/v1")

    (fault,) = refused.value.faults
    assert fault.value is None
    assert "mqtt://" in fault.mend
