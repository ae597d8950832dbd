"""Errors as answers: RFC 9457 problem documents for programs, a plain page for people."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel
from starlette.exceptions import HTTPException

from halfsplit.errors import (
    ConflictError,
    HalfsplitError,
    InputError,
    MissingProgramError,
    NotFoundError,
    StorageError,
)
from halfsplit.job import Doubt
from halfsplit.workbench.rendering import render

PROBLEM_JSON: Final = "application/problem+json"
STATUS: Final[tuple[tuple[type[HalfsplitError], int, str], ...]] = (
    (Doubt, 422, "A question about the reading"),
    (InputError, 422, "Cannot be used as it is"),
    (NotFoundError, 404, "Not found"),
    (ConflictError, 409, "Not possible now"),
    (MissingProgramError, 501, "Something is not installed"),
    (StorageError, 503, "The job store cannot be used"),
    (HalfsplitError, 500, "Not possible"),
)
"""Kind of error → status and title; the first that fits."""
TITLES: Final = {
    400: "Not understood",
    401: "Sign in first",
    403: "Not allowed",
    404: "Not found",
    405: "Not possible here",
    413: "Too large",
    421: "Not this address",
    429: "Too many attempts",
}


class Problem(BaseModel):
    """RFC 9457. ``question`` is true where the reading may be stored after a plain yes (``confirmed``)."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str = ""
    question: bool = False


@dataclass(frozen=True)
class ProblemPage:
    """Something that did not work, in plain words."""

    title: str
    detail: str


class SignInNeeded(Exception):
    """Nobody is signed in: a page leads to the sign-in page, the API answers 401."""


def problem_response(
    status: int, title: str, detail: str, headers: Mapping[str, str] | None = None, **more: Any
) -> JSONResponse:
    """A problem document."""
    body = Problem(title=title, status=status, detail=detail, **more)
    return JSONResponse(body.model_dump(), status, dict(headers or {}), PROBLEM_JSON)


def status_of(error: HalfsplitError) -> tuple[int, str]:
    """Status and title of one of our errors."""
    return next((status, title) for kind, status, title in STATUS if isinstance(error, kind))


def install(app: FastAPI) -> None:
    """Answer every error of ours and of the framework as a problem document or a page."""
    app.add_exception_handler(HalfsplitError, _ours)
    app.add_exception_handler(HTTPException, _framework)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(SignInNeeded, _sign_in)
    app.add_exception_handler(UnicodeError, _undecodable)


def _is_api(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _answer(
    request: Request,
    status: int,
    title: str,
    detail: str,
    headers: Mapping[str, str] | None = None,
    **more: Any,
) -> Response:
    if _is_api(request):
        return problem_response(status, title, detail, headers, **more)
    return render(request, "frame/problem.html", ProblemPage(title, detail), status=status, headers=headers)


async def _ours(request: Request, error: Exception) -> Response:
    assert isinstance(error, HalfsplitError)  # noqa: S101 - registered for this type only
    status, title = status_of(error)
    question = isinstance(error, Doubt) and error.sure
    return _answer(request, status, title, str(error), question=question)


async def _framework(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    title = TITLES.get(error.status_code, "Not possible")
    detail = (
        error.detail if error.detail and error.detail != "Not Found" else "There is nothing at this address."
    )
    headers = dict(error.headers or {})
    if error.status_code == 405:
        # What may be done at this address, by every route that leads there.
        here = [route for route in request.app.routes if route.path_regex.match(request.url.path)]
        allowed = {method for route in here for method in getattr(route, "methods", None) or FILE_METHODS}
        headers["Allow"] = ", ".join(sorted(allowed))
    return _answer(request, error.status_code, title, str(detail), headers)


FILE_METHODS: Final = ("GET", "HEAD")
"""What a folder of files answers to."""


async def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    problems = [
        f"{'.'.join(str(step) for step in error['loc'][1:]) or error['loc'][0]}: {error['msg']}"
        for error in error.errors()
    ]
    return _answer(request, 422, "Cannot be used as it is", "; ".join(problems[:10]))


async def _undecodable(request: Request, error: Exception) -> Response:
    return _answer(request, 400, TITLES[400], "The text is not UTF-8.")


async def _sign_in(request: Request, error: Exception) -> Response:
    if _is_api(request) or request.method != "GET" or request.headers.get("HX-Request"):
        return problem_response(401, TITLES[401], "Sign in, then try again.", {"HX-Redirect": "/sign-in"})
    return Response(status_code=303, headers={"Location": "/sign-in"})
