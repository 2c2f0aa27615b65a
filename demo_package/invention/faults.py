"""Plants the faults of the second copy."""


def write_faulted(*_: object) -> None:
    """Write the faulted copy."""
    pass
