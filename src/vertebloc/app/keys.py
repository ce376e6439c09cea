"""Keys that let one browser in: other people on a shared machine reach 127.0.0.1 as well."""

from __future__ import annotations

import secrets

from vertebloc.errors import InputError


class Keys:
    """One-time keys for addresses, and the sessions they were changed into."""

    def __init__(self) -> None:
        self._unused: set[str] = set()
        self._sessions: set[str] = set()

    def issue(self) -> str:
        """Make a key that opens one session, once.

        Returns
        -------
        str
            32 signs that nobody can guess.
        """
        key = secrets.token_urlsafe(24)
        self._unused.add(key)
        return key

    def redeem(self, key: str) -> str:
        """Change a key into a session.

        Parameters
        ----------
        key : str
            As the address carried it.

        Returns
        -------
        str
            The session, for the cookie.

        Raises
        ------
        InputError
            If the key was used before or was never given out.
        """
        for known in tuple(self._unused):
            if secrets.compare_digest(known.encode(), key.encode("utf-8", "replace")):
                self._unused.discard(known)
                session = secrets.token_urlsafe(32)
                self._sessions.add(session)
                return session
        raise InputError(
            "the key in this address was used already or is not ours: press Enter in the "
            "terminal where vertebloc runs, and use the new address"
        )

    def knows(self, session: str) -> bool:
        """Whether a session was opened with one of our keys.

        Parameters
        ----------
        session : str
            As the cookie carried it.

        Returns
        -------
        bool
            Compared in constant time.
        """
        given = session.encode("utf-8", "replace")
        return any([secrets.compare_digest(known.encode(), given) for known in self._sessions])
