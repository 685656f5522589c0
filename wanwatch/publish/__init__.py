"""Publish: tells machines and people what was observed and concluded.

In:       observations as they come, effects once they are kept.
Out:      metrics for Prometheus, sentences for people, notes to the service manager.
Imports:  wanwatch.core, wanwatch.config, prometheus_client, socket. Never measure, store or report.
"""

from wanwatch.publish.metrics import Metrics
from wanwatch.publish.resolving import news
from wanwatch.publish.service_manager import ServiceManager
from wanwatch.publish.words import sentence

__all__ = ["Metrics", "ServiceManager", "news", "sentence"]
