"""The whole daemon behind a password and TLS: what a reload takes up, and how commands ask it all the same."""

import asyncio
import logging
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import aiohttp
import pytest
import trustme
from click.testing import CliRunner

from tests.measure.dns_servers import free_port
from wanwatch.cli import main
from wanwatch.config import load
from wanwatch.core.door import Cost, hashed
from wanwatch.daemon import Daemon

CHEAP = Cost(4, 1, 1)
BOTH = trustme.CA(), trustme.CA()


def issue(folder: Path, number: int) -> None:
    made = BOTH[number].issue_cert("127.0.0.1")
    made.private_key_and_cert_chain_pem.write_to_path(str(folder / "page.pem"))


def office(folder: Path, port: int, said: str = "four words of mine", more: str = "") -> Path:
    (folder / "password").write_text(hashed(said, bytes(16), CHEAP).line())
    path = folder / "wanwatch.toml"
    path.write_text(
        '[site]\nname = "harbour-lane"\ndata_dir = "data"\n'
        '[[uplink]]\nname = "fibre"\npin = { source = "127.20.0.11" }\n'
        '[[target]]\nname = "near"\ntcp = "127.20.9.9:9"\nevery = "1s"\n'
        f'[listen]\naddress = "127.0.0.1:{port}"\npassword_file = "password"\n{more}'
    )
    return path


TLS = 'certificate_file = "page.pem"\n'


async def asked(at: str, number: int, said: str = "four words of mine") -> int:
    """Sign in, trusting the authority of that number only."""
    trusting = ssl.create_default_context()
    BOTH[number].configure_trust(trusting)
    form = {"password": said}
    async with (
        aiohttp.ClientSession(connector=aiohttp.TCPConnector(ssl=trusting)) as http,
        http.post(f"{at}/login", data=form, headers={"Origin": at}, allow_redirects=False) as answer,
    ):
        return answer.status


async def test_a_reload_takes_up_certificates_and_passwords(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The listener stays; a pair that does not belong together leaves everything as it was; commands ask throughout."""
    issue(tmp_path, 0)
    port = free_port()
    at = f"https://127.0.0.1:{port}"
    path = office(tmp_path, port, more=TLS)
    daemon = Daemon(load(path), path=path)
    await daemon.start()
    try:
        assert daemon.address == at
        assert await asked(at, 0) == 303
        issue(tmp_path, 1)
        office(tmp_path, port, "five words of hers", TLS)
        await daemon.reload()
        assert [await asked(at, 1, said) for said in ("four words of mine", "five words of hers")] == [403, 303]
        wrong = {"site": "harbour-lane", "key": "password", "why": "wrong"}
        assert daemon._metrics.registry.get_sample_value("wanwatch_web_refused_tries_total", wrong) == 1
        with pytest.raises(aiohttp.ClientConnectorCertificateError):
            await asked(at, 0)
        (tmp_path / "page.pem").write_text("half a fi")
        with caplog.at_level(logging.WARNING, "wanwatch"):
            await daemon.reload()
        assert "listen.certificate_file: there is no certificate in it" in caplog.text
        assert await asked(at, 1, "five words of hers") == 303
        issue(tmp_path, 0)
        await daemon._front.look()  # as it does once a day: somebody renewed it, and told nobody
        assert await asked(at, 0, "five words of hers") == 303
        issue(tmp_path, 1)
        status = await asyncio.to_thread(CliRunner().invoke, main, ["status", "--config", str(path), "--json"])
        assert '"site": "harbour-lane"' in status.output
        office(tmp_path, port, "five words of hers")
        await daemon.reload()
        assert "listen: nothing of it is taken up before the next start" in caplog.text
        assert await asked(at, 0, "five words of hers") == 303
    finally:
        await daemon.stop()
    assert not (tmp_path / "data" / "wanwatch.sock").exists()


async def test_another_address_never_opens_the_one_that_is_listened_on(tmp_path: Path) -> None:
    """Nothing is asked for on loopback; the listener that others reach goes on asking until it is another one."""
    path = office(tmp_path, port := free_port())
    path.write_text(path.read_text().replace(f"127.0.0.1:{port}", f"0.0.0.0:{port}"))
    daemon = Daemon(load(path), path=path)
    await daemon.start()
    try:
        path.write_text(path.read_text().replace("0.0.0.0", "127.0.0.1").replace('password_file = "password"\n', ""))
        await daemon.reload()
        async with aiohttp.ClientSession() as http:
            for way in ("/metrics", "/api/site"):
                async with http.get(f"http://127.0.0.1:{port}{way}") as answer:
                    assert answer.status == 401
    finally:
        await daemon.stop()


def test_check_says_when_the_certificate_ends(tmp_path: Path) -> None:
    """Before browsers refuse it, and nobody can look any more."""
    made = BOTH[0].issue_cert("127.0.0.1", not_after=datetime.now(UTC) + timedelta(days=3, hours=1))  # noqa: TID251
    made.private_key_and_cert_chain_pem.write_to_path(str(tmp_path / "page.pem"))
    (tmp_path / "page.pem").chmod(0o640)
    told = CliRunner().invoke(main, ["check", str(office(tmp_path, free_port(), more=TLS))])
    assert told.exit_code == 0
    assert "  - [listen]: its certificate: it ends in 3 days.\n" in told.output


def test_status_says_why_nobody_may_answer(tmp_path: Path) -> None:
    """Where something is asked for, the silence may be a matter of who asks."""
    told = CliRunner().invoke(main, ["status", "--config", str(office(tmp_path, free_port()))])
    assert told.exit_code == 3
    assert "if it runs, it answers this command to its own user and group only" in told.output
