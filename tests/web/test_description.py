"""The API of a running daemon is what its description says, tried by schemathesis.

Source: OpenAPI 3.1.0 and RFC 9110, as schemathesis checks them with requests that it makes of the description: no
failure of ours, only the statuses, kinds of content and fields that are described, nothing taken that the description
rules out, no other method, no answer without the token.
"""

import asyncio
import subprocess
import sys
from pathlib import Path

from hypothesis import settings

from tests.fakes.living import watched

TOKEN = "open-sesame-of-thirty-two-letters"  # noqa: S105 - a test's token
EXAMPLES = 15
"""Of each route; what it tries at the edges of each parameter comes besides, some 250 requests in all."""
ENDLESS = "/api/stream"
"""It answers until the onlooker leaves, so nobody could check an answer of it."""


async def test_the_api_is_as_described(tmp_path: Path) -> None:
    """Whatever the description allows is answered as it says; whatever it rules out is refused."""
    (tmp_path / "token").write_text(TOKEN, "utf-8")
    (tmp_path / "token").chmod(0o600)
    async with watched(tmp_path, f'token_file = "{tmp_path / "token"}"\n') as (daemon, _, _):
        process = await asyncio.create_subprocess_exec(
            Path(sys.executable).with_name("schemathesis"), "run", f"{daemon.address}/api/openapi.json",
            "--header", f"Authorization: Bearer {TOKEN}", "--exclude-path", ENDLESS, "--phases", "coverage,fuzzing",
            "--max-examples", str(EXAMPLES), *(["--generation-deterministic"] if settings().derandomize else []),
            cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        said, _ = await process.communicate()
    assert process.returncode == 0, said.decode()
    assert b"Tested: 6" in said
