"""Measure: asks the network questions, each over one uplink, and says what came back.

In:       questions: what to ask, by which pin, how often and how long to wait; a clock.
Out:      exactly one sample for each probe, afterwords for late and repeated answers, sightings of routes and links;
          a quiet or broken network never raises.
Imports:  wanwatch.core, wanwatch.clock, wanwatch.trust, asyncio, socket, ssl, dnspython, h2. Never the store, the
          metrics or the reports.
"""
