"""Speed: how fast one uplink carries bytes, each way, and what held it up.

In:       a configuration, an uplink's name, and what is asked for otherwise than configured; a clock.
Out:      one frozen SpeedResult; marks of progress meanwhile. Network trouble is the ending of a direction.
Imports:  wanwatch.core, wanwatch.config, wanwatch.clock, wanwatch.process, the sockets, streams and measurer of
          measure; asyncio, socket, ssl.

`conduct` is the whole test, run where it is asked for; `helper` starts the process that moves the bytes (`__main__`,
`worker`, `lanes`, `talk`) and speaks to it in the words of `job`; `reckon` makes figures of what it counted;
`counters` and `snmp` say what else the line carries.
"""

from wanwatch.measure.speed.conduct import run_speed_test
from wanwatch.measure.speed.counters import busy_now
from wanwatch.measure.speed.errors import BusyError, SpeedError
from wanwatch.measure.speed.turn import turn
from wanwatch.measure.speed.where import Asked

__all__ = ["Asked", "BusyError", "SpeedError", "busy_now", "run_speed_test", "turn"]
