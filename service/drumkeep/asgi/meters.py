"""Counters and gauges of this process, in the Prometheus text exposition format 0.0.4."""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

Labels = tuple[tuple[str, str], ...]


@dataclass
class Meters:
    """Counts what happens; any thread may count.

    Names follow the conventions of Prometheus: ``drumkeep_<what>_total`` for counters.
    """

    _counts: dict[str, dict[Labels, float]] = field(default_factory=dict, repr=False)
    _gauges: dict[str, Callable[[], float]] = field(default_factory=dict, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def count(self, name: str, *, labels: Mapping[str, str] | None = None, by: float = 1.0) -> None:
        """Add to a counter."""
        key = tuple(sorted((labels or {}).items()))
        with self._lock:
            series = self._counts.setdefault(name, {})
            series[key] = series.get(key, 0.0) + by

    def gauge(self, name: str, *, read: Callable[[], float]) -> None:
        """Have a gauge read whenever figures are asked for; it must be quick."""
        with self._lock:
            self._gauges[name] = read

    def render(self) -> str:
        """Return all figures as text."""
        lines: list[str] = []
        with self._lock:
            for name, series in sorted(self._counts.items()):
                lines.append(f"# TYPE {name} counter")
                lines += [f"{name}{_braced(key)} {value:.17g}" for key, value in series.items()]
            gauges = sorted(self._gauges.items())
        for name, read in gauges:
            lines += [f"# TYPE {name} gauge", f"{name} {read():.17g}"]
        return "\n".join(lines) + "\n"


def _braced(labels: Labels) -> str:
    if not labels:
        return ""
    inner = ",".join(f'{name}="{_escaped(value)}"' for name, value in labels)
    return f"{{{inner}}}"


def _escaped(value: str) -> str:
    return value.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")
