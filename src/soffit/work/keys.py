"""Permanent keys: made once, never used twice."""


class KeyBook:
    """Counter of permanent keys of a job.

    Parameters
    ----------
    next_key
        Number for the next key, as the design stores it.
    """

    def __init__(self, next_key: int) -> None:
        self.next_key = next_key

    def new(self, prefix: str) -> str:
        """Return a key that was never used.

        Parameters
        ----------
        prefix
            Letter that tells what it belongs to.
        """
        key = f"{prefix}{self.next_key:04d}"
        self.next_key += 1
        return key
