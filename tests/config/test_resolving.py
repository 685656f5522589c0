"""Resolvers, inspections and pages in the configuration: what is planned, and what cannot be."""

from pathlib import Path

import pytest
import trustme

from tests.config.test_plan import OFFICE, office
from tests.config.test_reader import Mistakes, spoil
from wanwatch.config.plan import inspected, inspections, questions
from wanwatch.core.model import NS_PER_S, Role
from wanwatch.core.resolver import Resolver, Transport
from wanwatch.core.resolving import Purpose

MORE = '[names]\nown_zone = "example.org"\nsigned = "signed.example.net"\nbroken = "broken.example.net"\n'
MEND = (
    'write an address such as "192.0.2.53", or "tls://192.0.2.53#dns.example.net", '
    '"https://192.0.2.53/dns-query#dns.example.net" or "tcp://192.0.2.53"'
)


def test_each_resolver_is_inspected_through_its_uplink(tmp_path: Path) -> None:
    """Every name, two random labels for each place that names cannot exist in, and the pair that shows validation."""
    config = office(tmp_path, OFFICE.replace("[names]\n", MORE))
    planned = inspections(config)
    one = [
        (inspection.question.ask, inspection.purpose, inspection.asked)
        for inspection in planned
        if inspection.question.series.target == "192.0.2.53"
    ]
    assert one == [
        ("www.example.com", Purpose.KNOWN, 1),
        ("invalid", Purpose.ABSENT, 4),
        ("example.org", Purpose.OWN_ZONE, 4),
        ("signed.example.net", Purpose.SIGNED, 1),
        ("broken.example.net", Purpose.BROKEN, 1),
    ]
    assert {inspection.question.every_ns for inspection in planned} == {600 * NS_PER_S}
    assert {inspection.question.series.role for inspection in planned} == {Role.NAMES}
    assert len(inspected(config)) == 2 * 11
    assert not {inspection.question for inspection in planned} & set(questions(config))


def test_a_metered_line_is_inspected_ten_times_as_seldom_and_without_names_nothing_is(tmp_path: Path) -> None:
    """What is paid for by the byte is probed sparely."""
    metered = OFFICE.replace("metered = true", 'metered = true\nresolvers = ["192.0.2.55"]')
    every_s = {
        inspection.question.series.uplink: inspection.question.every_ns // NS_PER_S
        for inspection in inspections(office(tmp_path, metered))
    }
    assert every_s == {"fibre": 600, "backup": 6000}
    assert inspections(office(tmp_path, OFFICE.replace('[names]\nask = ["www.example.com"]', ""))) == ()


def test_resolvers_and_pages_reach_the_plan_as_they_are_written(tmp_path: Path) -> None:
    """The measuring room is told how to ask, what to expect, and whom to trust besides."""
    authorities = tmp_path / "authorities.pem"
    trustme.CA().cert_pem.write_to_path(str(authorities))
    text = OFFICE.replace('"192.0.2.53"', '"tls://192.0.2.53#dns.example.net"')
    text = text.replace('data_dir = "data"', 'data_dir = "data"\nauthorities = "authorities.pem"')
    text = text.replace(
        'http = "http://www.example.com/"', 'http = "http://www.example.com/"\nexpect = 204\nfamily = 4'
    )
    plan = questions(office(tmp_path, text))
    secured = Resolver("192.0.2.53", 853, Transport.TLS, "dns.example.net")
    [page] = [question for question in plan if question.series.target == "page"]
    assert (page.expect, page.family, page.ca_file) == (204, 4, str(authorities))
    assert page.resolvers == (secured, Resolver("192.0.2.54", 5353))
    [names] = [question for question in plan if question.series.target == "tls://192.0.2.53#dns.example.net"]
    assert (names.resolver, names.ca_file) == (secured, str(authorities))


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        (
            '["198.51.100.53"]',
            '["quic://198.51.100.53"]',
            f"uplink[0].resolvers[0] = 'quic://198.51.100.53': no way to ask a resolver; {MEND}",
        ),
        (
            '["198.51.100.53"]',
            '["https://198.51.100.53"]',
            (
                "uplink[0].resolvers[0] = 'https://198.51.100.53': the path is missing; "
                'write it as well, such as "https://192.0.2.53/dns-query"'
            ),
        ),
        (
            '["198.51.100.53"]',
            '["tls://198.51.100.53#no name"]',
            f"uplink[0].resolvers[0] = 'tls://198.51.100.53#no name': not a resolver; {MEND}",
        ),
        (
            '["198.51.100.53"]',
            '["tls://[2001:db8::53]"]',
            (
                "uplink[0].resolvers[0] = 'tls://[2001:db8::53]': the pin of 'fibre' has no IPv6 source to ask it "
                "from; write an address of the same family, or give the pin a second source"
            ),
        ),
        (
            'echo = "192.0.2.1"',
            'echo = "192.0.2.1"\nexpect = 204',
            "target[0].expect: only an http or https target has it; leave it out, or write a URL",
        ),
        (
            'data_dir = "data"',
            'data_dir = "data"\nauthorities = "nosuch.pem"',
            (
                "site.authorities = 'nosuch.pem': there is no such file, or it cannot be read; write the path of a "
                "file of certificate authorities in PEM that the daemon's user can read"
            ),
        ),
        (
            'data_dir = "data"',
            'data_dir = "data"\nauthorities = "wanwatch.toml"',
            (
                "site.authorities = 'wanwatch.toml': there is no certificate in it; write the path of a file of "
                "certificate authorities in PEM that the daemon's user can read"
            ),
        ),
    ],
)
def test_a_mistake_about_asking_is_told_whole(mistakes: Mistakes, right: str, old: str, new: str, line: str) -> None:
    """Path, value, reason and mend."""
    assert mistakes(spoil(right, old, new)) == [line]


@pytest.mark.parametrize(
    ("more", "line"),
    [
        ('signed = "a.example"', "names.broken: this key is missing; write it beside signed, or leave out both"),
        ('broken = "a.example"', "names.signed: this key is missing; write it beside broken, or leave out both"),
        (
            'inspect_every = "10s"',
            "names.inspect_every = '10s': too often for other people's machines; write \"1m\" or longer",
        ),
    ],
)
def test_a_mistake_about_inspecting_is_told_whole(mistakes: Mistakes, right: str, more: str, line: str) -> None:
    """A refusal of the broken name alone would show nothing."""
    assert mistakes(f'{right}\n[names]\nask = ["www.example.com"]\n{more}\n') == [line]
