"""Whether somebody can listen at an address, before it is promised that we do."""

import socket


def require_free(host: str, port: int) -> None:
    """Raises ValueError when nobody can listen there: the port is taken, or the address is not of here."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        with socket.socket(family) as tried:
            tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            tried.bind((host, port))
    except OSError as error:
        raise ValueError(
            f"nobody can listen at {host}, port {port}: {error.strerror or error}; name another with --port"
        ) from error
