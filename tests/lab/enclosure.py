"""One private world for one lab: its own processes, mounts and network, gone the moment its owner goes.

The world hangs on the first process of a PID namespace, a `cat` that reads a pipe held by the test run. However the
test run ends, kill -9 included, the pipe closes, `cat` ends, and the kernel kills everything inside and frees every
namespace, interface and rule. So there is nothing to clean up, names cannot collide, and any number of labs may
stand side by side. Where the tester is not root, the same happens inside a user namespace.
"""

import os
import signal
import subprocess
import time
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Final, Self

FIRST: Final = "mount -t tmpfs none /run && mkdir -p /run/netns && echo ready && exec cat"
"""A private /run holds the names of the lab's hosts, so `ip netns` of the machine itself never sees them."""


class LabError(Exception):
    """The lab itself does not work: says nothing about the program under test."""

    def __init__(self, said: str, *, by: str) -> None:
        super().__init__(f"{by}: {said}")


class Process:
    """A program that runs on one of the lab's hosts, and the file that holds its words."""

    def __init__(self, popen: subprocess.Popen[bytes], log: Path) -> None:
        self._popen = popen
        self.log = log
        self.pid = _child(popen)

    def signal(self, number: int) -> None:
        """Send a signal to the program itself, not to its way in."""
        os.kill(self.pid, number)

    def thaw(self) -> None:
        """Let a stopped program's way in go on: `nsenter` stops along with it, and the world could not end."""
        self._popen.send_signal(signal.SIGCONT)

    def wait(self, timeout_s: float = 10.0) -> int:
        """Wait for its end and return its exit code."""
        return self._popen.wait(timeout_s)

    def alive(self) -> bool:
        """Tell whether it still runs."""
        return self._popen.poll() is None


class Enclosure:
    """The private world. Use as a context manager.

    Raises:
        LabError: This machine does not let us build one; the text is its own.
    """

    def __init__(self) -> None:
        rootless = os.geteuid() != 0
        kinds = ["--mount", "--net", "--pid"]
        user_out, user_in = (["--user", "--map-root-user"], ["--user", "--preserve-credentials"])
        command = ["unshare", *(user_out if rootless else []), *kinds, "--fork", "--mount-proc", "sh", "-c", FIRST]
        self._holder = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert self._holder.stdout is not None
        if self._holder.stdout.readline() != b"ready\n":
            _, said = self._holder.communicate()
            raise LabError(said.decode().strip(), by="unshare")
        inside = str(_child(self._holder))
        self._enter = ["nsenter", "--target", inside, *(user_in if rootless else []), *kinds]
        self._processes: list[Process] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for pipe in (self._holder.stdin, self._holder.stdout, self._holder.stderr):
            if pipe is not None:
                pipe.close()
        # A way in stops itself some time after the program that it led in was stopped, so once may be too early.
        while self._holder.poll() is None:
            for process in self._processes:
                process.thaw()
            time.sleep(0.01)
        for process in self._processes:
            process.wait()

    def script(self, text: str) -> None:
        """Run a shell script in the world, outside its hosts; a failing line is an error."""
        done = subprocess.run([*self._enter, "sh", "-e"], input=text.encode(), capture_output=True, check=False)
        if done.returncode:
            raise LabError(done.stderr.decode().strip(), by="sh")

    def run(
        self, host: str, *command: str, env: Mapping[str, str] | None = None, timeout_s: float = 30.0
    ) -> subprocess.CompletedProcess[str]:
        """Run a program on a host to its end; its exit code is the caller's business."""
        return subprocess.run(
            self.command(host, *command), env=env, capture_output=True, text=True, timeout=timeout_s, check=False
        )

    def must(self, host: str, *command: str) -> str:
        """Run a program on a host that has to succeed, and return what it printed."""
        done = self.run(host, *command)
        if done.returncode:
            raise LabError(done.stderr.strip(), by=" ".join([host, *command]))
        return done.stdout

    def spawn(self, host: str, *command: str, log: Path, env: Mapping[str, str] | None = None) -> Process:
        """Start a program on a host; what it says goes to *log*."""
        with log.open("ab") as said:
            popen = subprocess.Popen(
                self.command(host, *command), env=env, stdin=subprocess.DEVNULL, stdout=said, stderr=subprocess.STDOUT
            )
        process = Process(popen, log)
        self._processes.append(process)
        return process

    def command(self, host: str, *command: str) -> list[str]:
        """The words that run a program on a host, for those who start it themselves."""
        return [*self._enter, "ip", "netns", "exec", host, *command]


def _child(parent: subprocess.Popen[bytes], within_s: float = 5.0) -> int:
    """Find the one child that `unshare --fork` or `nsenter --pid` makes."""
    children = Path(f"/proc/{parent.pid}/task/{parent.pid}/children")
    deadline = time.monotonic() + within_s
    while time.monotonic() < deadline and parent.poll() is None:
        if found := children.read_text().split():
            return int(found[0])
        time.sleep(0.002)
    raise LabError(str(parent.args), by="ended before it began")
