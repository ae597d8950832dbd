"""An ASGI application for the tests of the processes: it imports nothing of the program, so it starts at once."""

import os
import time


async def answering(scope, receive, send):
    """Tells its process and how many bytes came; 'slow' jobs keep the whole process busy first.

    'hasty' ones are answered before anything has come.
    """
    seen, more = 0, "hasty" not in scope["path"]
    while more:
        message = await receive()
        seen, more = seen + len(message.get("body", b"")), message.get("more_body", False)
    if "slow" in scope["path"]:
        time.sleep(3600)  # noqa: ASYNC251 - as the engine does; who asks for it ends the process
    await send({"type": "http.response.start", "status": 200, "headers": [(b"x-seen", str(seen).encode())]})
    await send({"type": "http.response.body", "body": str(os.getpid()).encode()})


def start():
    """The application."""
    return answering


def endless(*_arguments):
    """Long work that never ends by itself."""
    time.sleep(3600)
