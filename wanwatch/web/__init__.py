"""Web: what the daemon shows over HTTP.

In:       the metrics' registry and a function that says how things stand.
Out:      /metrics for Prometheus and /health as JSON.
Imports:  wanwatch.core, wanwatch.config, wanwatch.publish, aiohttp, prometheus_client. Never measure.
"""

from wanwatch.web.app import make_app, serve

__all__ = ["make_app", "serve"]
