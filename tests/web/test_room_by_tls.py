"""The pages over TLS."""

import asyncio
import ssl
from pathlib import Path

import aiohttp
import pytest
import trustme

from tests.fakes.web import office
from wanwatch.core.door import Cost, Keys, hashed
from wanwatch.publish import Metrics
from wanwatch.tls import Certificate, server_context
from wanwatch.web.app import make_app, serve

SAID = "four words of mine"
KEYS = Keys(hashed(SAID, bytes(16), Cost(4, 1, 1)))


async def test_a_client_of_others_making_signs_in_and_out(tmp_path: Path) -> None:
    """Curl's own rules for cookies, prefixes and redirects: it keeps the session over TLS, and has none afterwards."""
    authority = trustme.CA()
    pem, trusted = tmp_path / "both.pem", tmp_path / "trusted.pem"
    authority.issue_cert("localhost").private_key_and_cert_chain_pem.write_to_path(str(pem))
    authority.cert_pem.write_to_path(str(trusted))
    app = make_app(Metrics("s", "1").registry, office(tmp_path), KEYS)
    runner = await serve(app, "127.0.0.1", 0, tls=Certificate(server_context(pem, None)).listening)
    at = f"https://localhost:{runner.addresses[0][1]}"
    jar = str(tmp_path / "jar")

    async def curl(*what: str) -> str:
        begin = ("curl", "-sS", "-4", "--cacert", str(trusted), "-b", jar, "-c", jar, "-o", "/dev/null")
        told = ("-w", "%{http_code} %{url_effective}")
        done = await asyncio.create_subprocess_exec(*begin, *told, *what, stdout=asyncio.subprocess.PIPE)
        return (await done.communicate())[0].decode()

    form = ("-L", "-H", f"Origin: {at}", "--data-urlencode", f"password={SAID}", "--data-urlencode", "to=/uplink/fibre")
    try:
        assert await curl("-L", f"{at}/reports") == f"200 {at}/login?to=%2Freports"
        assert await curl(*form, f"{at}/login") == f"200 {at}/uplink/fibre"
        assert await curl(f"{at}/api/site") == f"200 {at}/api/site"
        assert await curl("-H", f"Origin: {at}", "-X", "POST", f"{at}/logout") == f"303 {at}/logout"
        assert await curl(f"{at}/api/site") == f"401 {at}/api/site"
    finally:
        await runner.cleanup()


async def test_over_tls_the_cookie_is_bound_to_this_host(tmp_path: Path) -> None:
    """RFC 6265bis section 4.1.3.2: `__Host-` means Secure, Path=/ and no Domain; without TLS nothing is answered."""
    authority = trustme.CA()
    pem = tmp_path / "both.pem"
    authority.issue_cert("127.0.0.1").private_key_and_cert_chain_pem.write_to_path(str(pem))
    trusting = ssl.create_default_context()
    authority.configure_trust(trusting)
    app = make_app(Metrics("s", "1").registry, office(tmp_path), KEYS)
    runner = await serve(app, "127.0.0.1", 0, tls=Certificate(server_context(pem, None)).listening)
    port = runner.addresses[0][1]
    at = f"https://127.0.0.1:{port}"
    jar = aiohttp.CookieJar(unsafe=True)
    try:
        async with aiohttp.ClientSession(cookie_jar=jar, connector=aiohttp.TCPConnector(ssl=trusting)) as http:
            form = {"password": SAID}
            async with http.post(f"{at}/login", data=form, headers={"Origin": at}, allow_redirects=False) as answer:
                set_cookie = answer.headers["Set-Cookie"]
            async with http.get(f"{at}/api/openapi.json") as answer:
                described = await answer.json()
            async with http.post(f"{at}/logout", headers={"Origin": at}, allow_redirects=False) as answer:
                taken_away = answer.headers["Set-Cookie"]
        async with aiohttp.ClientSession() as plain:
            with pytest.raises(aiohttp.ClientError):
                await plain.get(f"http://127.0.0.1:{port}/health")
    finally:
        await runner.cleanup()
    name, *flags = set_cookie.split("; ")
    assert name.startswith("__Host-wanwatch=")
    assert set(flags) == {"HttpOnly", "Path=/", "SameSite=Strict", "Secure"}
    assert described["components"]["securitySchemes"]["session"]["name"] == "__Host-wanwatch"
    assert taken_away.startswith('__Host-wanwatch=""')
    assert {"Max-Age=0", "Path=/", "Secure"} <= set(taken_away.split("; "))
