"""A page that runs in this process, and uploads for it."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from starlette.testclient import TestClient

from litlamp.aspects.reading import Reading
from litlamp.page.server import create_app
from litlamp.page.settings import Settings
from litlamp.photo_reading import read_photo

HERE = "http://localhost:8077"


@contextlib.contextmanager
def _running(data: Path, **settings: Any) -> Iterator[TestClient]:
    app = create_app(Settings(data, **settings))
    with TestClient(app, base_url=HERE, headers={"origin": HERE}) as client:
        yield client


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Callable[..., TestClient]]:
    """`served(token=.., host=.., limits=..)`: a page with a data folder of its own."""
    with contextlib.ExitStack() as stack:
        yield lambda **settings: stack.enter_context(_running(tmp_path / "page", warm=False, **settings))


@pytest.fixture(scope="session")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A page as a learner starts it."""
    with _running(tmp_path_factory.mktemp("page")) as client:
        yield client


@pytest.fixture(scope="session")
def sample(root: Path) -> bytes:
    """Two red heads, staggered, whose plates cannot be made out."""
    return (root / "samples" / "brindle-staggered-red.jpg").read_bytes()


@pytest.fixture(scope="session")
def expected(sample: bytes) -> Reading:
    """What the library says of that sample."""
    return read_photo(sample).signals[0][1]


@pytest.fixture(scope="session")
def answer(page: TestClient, sample: bytes) -> str:
    """The address of the answer to that sample."""
    sent = page.post("/read", files={"file": ("staggered.jpg", sample)})
    assert sent.status_code == 200, sent.text
    return sent.url.path


@pytest.fixture(scope="session")
def grey() -> bytes:
    """A picture that holds no signal."""
    out = io.BytesIO()
    Image.new("RGB", (320, 240), (120, 120, 120)).save(out, "PNG")
    return out.getvalue()
