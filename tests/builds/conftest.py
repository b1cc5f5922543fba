from tests.api.conftest import anyio_backend, writer  # noqa: F401
