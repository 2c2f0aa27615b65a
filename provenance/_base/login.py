"""The name of the account on this machine."""

from __future__ import annotations


def login_name() -> str:
    """What the account is called; '' where it has no name."""
    import getpass

    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
