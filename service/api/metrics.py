"""Requests counted and timed by path template, in the text form that Prometheus reads."""

from collections.abc import Callable, Mapping

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Gauge, Histogram, generate_latest

_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)


class Metrics:
    """The counters of one application. gauges: name -> (meaning, reading), read when asked."""

    media = CONTENT_TYPE_LATEST.encode()

    def __init__(self, gauges: Mapping[str, tuple[str, Callable[[], float]]]) -> None:
        self._registry = CollectorRegistry()
        labels = ("method", "route")
        self._count = Counter("sonoledger_requests", "Requests answered", (*labels, "status"), registry=self._registry)
        self._time = Histogram(
            "sonoledger_request_seconds", "Seconds to an answer", labels, buckets=_SECONDS, registry=self._registry
        )
        self._children: dict[tuple[str, str, int], tuple[Counter, Histogram]] = {}
        for name, (meaning, reading) in gauges.items():
            Gauge(f"sonoledger_{name}", meaning, registry=self._registry).set_function(reading)

    def answered(self, method: str, route: str, *, status: int, seconds: float) -> None:
        """Count one answer."""
        key = (method, route, status)
        found = self._children.get(key)
        if found is None:  # looking a child up by labels costs more than counting
            found = self._count.labels(method, route, str(status)), self._time.labels(method, route)
            self._children[key] = found
        found[0].inc()
        found[1].observe(seconds)

    def text(self) -> bytes:
        """Everything counted so far."""
        return generate_latest(self._registry)
