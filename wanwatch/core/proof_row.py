"""What one look at an uplink's pin showed: what measure finds out, and publish shows."""

from dataclasses import dataclass

from wanwatch.core.model import PinChanged


@dataclass(frozen=True, slots=True, kw_only=True)
class ProofRow:
    """What one uplink's pin showed.

    Attributes:
        held: What is held of the pin.
        interface: Where its probes leave this machine; empty if unknown.
        gateway: The router on our side.
        public: The address that the far end saw.
        hops: The first routers beyond our side.
        mtus: The path MTU in words, of each family.
        faults: What else is not as it should be.
        gaps: What could not be measured, and why.
    """

    held: PinChanged
    interface: str
    gateway: str | None
    public: str | None
    hops: tuple[str | None, ...]
    mtus: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    gaps: tuple[str, ...] = ()

    @property
    def wrong(self) -> bool:
        """Whether something is not as it should be."""
        return self.held.proved is False or bool(self.faults)

    @property
    def unmeasured(self) -> bool:
        """Whether something could not be measured."""
        return self.held.proved is None or bool(self.gaps)
