"""Beliefs, drawn at random and by hand, for the tests of the interpretation core."""

from __future__ import annotations

import pytest

from litlamp.aspects.rulebook import Rulebook, load_book


@pytest.fixture(scope="session")
def cror() -> Rulebook:
    return load_book("CROR")
