"""The exit statuses of the command; as shells have it, 128 and its number where a signal has stopped it."""

from __future__ import annotations

DONE, CAUTIONED, IMPOSSIBLE, INTERRUPTED, TERMINATED = 0, 1, 2, 130, 143
