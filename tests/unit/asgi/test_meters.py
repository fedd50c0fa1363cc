"""Figures are told in the text format of Prometheus."""

from drumkeep.asgi.meters import Meters


def test_counters_and_gauges_are_rendered():
    meters = Meters()
    meters.count("drumkeep_things_total", labels={"kind": 'a "b"\\\n'})
    meters.count("drumkeep_things_total", labels={"kind": 'a "b"\\\n'}, by=2)
    meters.gauge("drumkeep_waiting", read=lambda: 4.5)

    # Escapes as in the exposition format, version 0.0.4.
    assert meters.render() == (
        "# TYPE drumkeep_things_total counter\n"
        'drumkeep_things_total{kind="a \\"b\\"\\\\\\n"} 3\n'
        "# TYPE drumkeep_waiting gauge\n"
        "drumkeep_waiting 4.5\n"
    )
