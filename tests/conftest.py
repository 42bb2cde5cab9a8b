"""Where things are, for every room's tests."""

from __future__ import annotations

from pathlib import Path

import pytest

_ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def root() -> Path:
    """The folder of the checkout."""
    return _ROOT


@pytest.fixture(scope="session")
def real() -> Path:
    """The real photographs beside the checkout; the test is skipped where there are none."""
    folder = _ROOT.parent / "shared" / "real"
    if not folder.is_dir():
        pytest.skip("no real photographs beside the checkout")
    return folder
