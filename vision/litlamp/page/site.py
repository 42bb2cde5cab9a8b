"""What the handlers share: settings, book, workers, the answers held, and what is kept."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request

from litlamp.aspects.rulebook import Rulebook
from litlamp.page.answers import Answers
from litlamp.page.collection import Collection
from litlamp.page.drawings import Drawings
from litlamp.page.progress import Progress
from litlamp.page.questions import Questions
from litlamp.page.settings import Settings
from litlamp.page.uploads import Tray
from litlamp.page.workers import Job, WorkerPool


@dataclass(frozen=True, slots=True)
class Site:
    """One running page."""

    settings: Settings
    book: Rulebook
    pool: WorkerPool
    tray: Tray
    answers: Answers
    drawings: Drawings
    progress: Progress
    collection: Collection
    questions: Questions


def site_of(request: Request) -> Site:
    """The page that a request came to."""
    site = request.app.state.site
    assert isinstance(site, Site)
    return site


async def over(job: Job, patience: float) -> bool:
    """Whether the job is over within so many seconds; it goes on either way."""
    with contextlib.suppress(asyncio.TimeoutError, Exception):
        await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(job.done)), patience)
    return job.done.done()


def texts(form: Any) -> dict[str, str]:
    """The text fields of a form or query, the last of each name."""
    return {key: value for key, value in form.multi_items() if isinstance(value, str)}
