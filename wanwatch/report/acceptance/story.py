"""Sentences of a certificate."""

from collections.abc import Sequence
from typing import Final

from wanwatch.core.acceptance import PROGRAMME, About, Step, Verdict
from wanwatch.report.acceptance.values import Certificate

SECTIONS: Final[Sequence[tuple[str, frozenset[About]]]] = (
    ("The line", frozenset({About.PIN, About.ADDRESS, About.GATEWAY, About.PORT, About.MTU})),
    ("Names", frozenset({About.RESOLVER_ANSWERS, About.RESOLVER_REWRITING, About.RESOLVER_VALIDATION})),
    (
        "Delay, loss and speed",
        frozenset({About.DELAY, About.LOSS, About.SPEED_DOWN, About.SPEED_UP, About.LOAD_DOWN, About.LOAD_UP}),
    ),
    ("Failover", frozenset({About.FAILOVER})),
    (
        "Handed over by the installer",
        frozenset(
            {
                About.CIRCUIT, About.LIGHT, About.LIGHT_BUDGET, About.JOINTS, About.CABLE, About.BEND_RADIUS,
                About.PHOTOGRAPHS,
            }
        ),
    ),
)  # fmt: skip
"""The tables of a certificate: every item belongs to one of them."""

CAUTIONS: Final = (
    (
        "Never look into a fibre or a connector, nor through a scope that is not made for live fibres: the light is "
        "invisible and can harm the eye."
    ),
    "Fibre shards are sharp and hard to see: collect them, and neither eat nor drink where fibre is cut.",
    (
        "Work at height, drilling near cables, pipes or mains, and work on the mains are for those who are trained and "
        "licensed for it."
    ),
    "Local codes come first, and so do the landlord, the insurer, and contracts for alarms.",
    (
        "A failover can cut voice calls, alarm lines, lift telephones and emergency calls. Tell people before a plug "
        "is pulled, and have another way to call for help."
    ),
)
"""What a certificate reminds of, whoever reads it with a tool in hand."""


def headline(certificate: Certificate) -> str:
    """Say in one sentence what came of it."""
    total = len(certificate.test.items)
    failed, open_ = certificate.count(Verdict.FAIL), certificate.count(Verdict.NOT_DECIDED)
    line = certificate.uplink
    if not certificate.test.finished:
        return f"{line} is not tested to the end: {steps_done(certificate)}."
    undecided = f", and {open_} could not be decided" if open_ else ""
    if failed:
        return f"{line} did not pass: {failed} of {total} items failed{undecided}."
    if open_:
        return f"{line} has not passed yet: {open_} of {total} items could not be decided, and none failed."
    return f"{line} passed: all {total} items."


def steps_done(certificate: Certificate) -> str:
    """Say how far a test has come, and what comes next."""
    done, following = len(certificate.test.done), certificate.test.following
    said = f"{done} of {len(PROGRAMME)} steps are done"
    return said if following is None else f"{said}, and next is the step {PROGRAMME[following][0]!r}"


def left_after(step: Step | None) -> str:
    """Say after which step a test was left."""
    return "before its first step was done" if step is None else f"after the step {PROGRAMME[step][0]!r}"
