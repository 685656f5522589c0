"""Web: what the daemon shows over HTTP.

In:       the metrics' registry, how things stand, the record opened for reading, the folder of kept reports, and what
          whoever asks has to show.
Out:      the status page and its like, the JSON API with its description and stream, /metrics, /health.
Imports:  wanwatch.core, wanwatch.asker, wanwatch.config, wanwatch.publish, wanwatch.report.kept, aiohttp, jinja2,
          prometheus_client. Never measure or store.
"""
