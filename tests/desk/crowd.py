"""Readers and senders at once: each an asyncio task with its own account or key and its own connection. Used by the test,
small, and by `tests/bench/desk_load.py`, with a hundred and twenty."""

from __future__ import annotations

import asyncio
import re
import statistics
import time
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from handsfree.desk.protocol import PIECE, content_range, manifest_of, parse_state
from tests.desk.conftest import PASSWORD

PAGES = ("/", "/visits", "/visits?cabinet=HK-4", "/search?q=isolated", "/due", "/findings", "/measures", "/writer")


@dataclass
class Tally:
    """Seconds of each answer by what was asked; `wrong`: answers that were not as they must be; `stored`: visits
    acknowledged; `waited`: told to come again later; `broken`: connections that broke, and were made anew."""

    took: dict[str, list[float]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    stored: list[str] = field(default_factory=list)
    waited: int = 0
    broken: int = 0

    def line(self, what: str) -> str:
        times = sorted(self.took[what])
        late = times[min(len(times) - 1, int(len(times) * 0.95))]
        return f"{what:<10} {len(times):6d} answers, median {statistics.median(times):6.3f} s, 95 % within {late:6.3f} s"


async def ask(
    client: httpx.AsyncClient, tally: Tally, what: str, method: str, address: str, **kwargs: object
) -> httpx.Response:
    began = time.perf_counter()
    while True:
        try:
            answer = await client.request(method, address, **kwargs)  # type: ignore[arg-type]  # handed on
            break
        except httpx.TransportError:  # a kept connection that the desk had just given up: ask again, as browsers do
            tally.broken += 1
    tally.took.setdefault(what, []).append(time.perf_counter() - began)
    return answer


async def reader(address: str, name: str, rounds: int, tally: Tally) -> None:
    async with httpx.AsyncClient(base_url=address, timeout=120, headers={"origin": address}) as client:
        form = {"name": name, "password": PASSWORD, "to": "/"}
        answer = await ask(client, tally, "sign-in", "POST", "/sign-in", data=form)
        if answer.status_code != 303:
            tally.wrong.append(f"sign-in {answer.status_code}")
            return
        for number in range(rounds):
            page = PAGES[(number + hash(name)) % len(PAGES)]
            answer = await ask(client, tally, "page", "GET", page)
            if answer.status_code != 200 or "handsfree desk" not in answer.text:
                tally.wrong.append(f"{page} {answer.status_code}")
        answer = await ask(client, tally, "page", "GET", "/visits")
        visit = re.findall(r'href="(/visits/[^"?]+)"', answer.text)[0]
        replay = await ask(client, tally, "replay", "GET", visit)
        for clip in re.findall(r'data-sound="([^"]+)"', replay.text)[:3]:
            sound = await ask(client, tally, "sound", "GET", clip)
            if sound.status_code != 200 or not sound.content.startswith(b"fLaC"):
                tally.wrong.append(f"{clip} {sound.status_code}")


async def sender(address: str, key: str, folders: list[Path], tally: Tally) -> None:
    async with httpx.AsyncClient(base_url=address, timeout=120, headers={"authorization": f"Bearer {key}"}) as client:
        for folder in folders:
            await send(client, folder, tally)


async def send(client: httpx.AsyncClient, folder: Path, tally: Tally) -> None:
    manifest = manifest_of(folder)

    async def until_taken(method: str, where: str, **kwargs: object) -> httpx.Response:
        while True:
            answer = await ask(client, tally, "upload", method, where, **kwargs)
            if answer.status_code not in (429, 503):
                return answer
            tally.waited += 1
            await asyncio.sleep(float(answer.headers.get("retry-after", "1")))

    state = parse_state((await until_taken("POST", "/upload", content=manifest.to_json())).content)
    for part in manifest.parts:
        at = state.have[part.sha256]
        data = (folder / part.path).read_bytes()
        while at < part.size:
            piece = data[at : at + PIECE]
            headers = {"content-range": content_range(at, len(piece), part.size)}
            where = f"/upload/{manifest.upload}/{part.sha256}"
            state = parse_state((await until_taken("PUT", where, content=piece, headers=headers)).content)
            at = state.have[part.sha256]
    answer = await until_taken("POST", f"/upload/{manifest.upload}/commit")
    if answer.status_code in (200, 201):
        tally.stored.append(folder.name)
    else:
        tally.wrong.append(f"commit {answer.status_code} {answer.text[:200]}")


async def crowd(address: str, names: list[str], rounds: int, sends: dict[str, list[Path]]) -> Tally:
    """`sends`: upload key -> the visits it sends, one after the other."""
    tally = Tally()
    async with asyncio.TaskGroup() as group:
        for name in names:
            group.create_task(reader(address, name, rounds, tally))
        for key, folders in sends.items():
            group.create_task(sender(address, key, folders, tally))
    return tally
