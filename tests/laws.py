"""On how many examples a law is tried, where it is not the usual number (see conftest)."""

from __future__ import annotations

from hypothesis import settings

USUAL = settings().max_examples
FEW = settings(max_examples=USUAL // 2)  # where each of them takes long
MANY = settings(max_examples=3 * USUAL)  # where they take no time, and what may go wrong is rare
