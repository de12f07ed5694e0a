"""Fetching from a service with bounds: so many bytes, so many answers, one host, no redirects."""

from __future__ import annotations

import urllib.error
import urllib.request
from dataclasses import dataclass
from typing import IO, Any
from urllib.parse import urljoin, urlsplit

TIMEOUT_S = 30
GREATEST_ANSWER = 8 << 20
MOST_ANSWERS = 400
CHUNK_BYTES = 1 << 20


class FetchError(Exception):
    """The service could not be asked, or answered more than is taken."""


class _NoRedirects(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args: Any, **kwargs: Any) -> None:
        return None


@dataclass(slots=True)
class Fetcher:
    """Asks one host. token: of a signed-in person, where facts are asked for."""

    base: str
    token: str = ""
    greatest_pack: int = 4 << 30
    answers: int = 0

    def text(self, address: str) -> bytes:
        """A small answer whole. Raises FetchError."""
        with self._open(address) as answer:
            body = self._read(answer, GREATEST_ANSWER + 1)
        if len(body) > GREATEST_ANSWER:
            raise FetchError(f"{address} answers more than {GREATEST_ANSWER} bytes.")
        return body

    def to_file(self, address: str, file: IO[bytes]) -> None:
        """Write a large answer to a file and go back to its beginning. Raises FetchError."""
        size = 0
        with self._open(address) as answer:
            while chunk := self._read(answer, CHUNK_BYTES):
                size += len(chunk)
                if size > self.greatest_pack:
                    raise FetchError(f"{address} answers more than {self.greatest_pack} bytes.")
                file.write(chunk)
        file.seek(0)

    def full(self, address: str) -> str:
        """An address of the same host. Raises FetchError for another's."""
        full = urljoin(self.base, address)
        asked, base = urlsplit(full), urlsplit(self.base)
        if asked.scheme not in ("http", "https") or asked.netloc != base.netloc:
            raise FetchError(f"{full} is not on {base.netloc}, which is all that is asked.")
        return full

    def _open(self, address: str) -> Any:
        self.answers += 1
        if self.answers > MOST_ANSWERS:
            raise FetchError(f"More than {MOST_ANSWERS} answers would be needed.")
        request = urllib.request.Request(self.full(address))
        if self.token:
            request.add_header("Authorization", f"Token {self.token}")
        opener = urllib.request.build_opener(_NoRedirects)
        try:
            return opener.open(request, timeout=TIMEOUT_S)
        except (urllib.error.URLError, OSError, ValueError) as error:
            raise FetchError(f"{request.full_url} cannot be fetched: {error}.") from error

    def _read(self, answer: Any, size: int) -> bytes:
        try:
            return bytes(answer.read(size))
        except (OSError, ValueError) as error:
            raise FetchError(f"{self.base} broke off: {error}.") from error
