"""A LibreOffice profile of the tests' own, in which an extension can be installed whoever runs the tests."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Profile:
    """Where LibreOffice keeps everything.

    The administrator can only install for all users; then "all users" is a folder beside the profile, named by the
    environment, so that the computer's own LibreOffice is left alone.
    """

    folder: Path
    shared: bool
    environment: dict[str, str] = field(default_factory=dict)


def new_profile(parent: Path) -> Profile:
    """A new profile below a folder."""
    shared = os.geteuid() == 0
    environment = {"UNO_SHARED_PACKAGES_CACHE": (parent / "for all users").as_uri()} if shared else {}
    return Profile(parent / "profile", shared, environment)
