"""`python -m tests.bench.bare PORT DATABASE_URL BODY_FILE`: FastAPI routes that do nothing but what is asked of them.

GET answers the bytes of a file; POST takes a body, commits one row as the service's engine does, and gives it back."""

import sys
from pathlib import Path

import uvicorn
from fastapi import FastAPI, Request, Response

from tests.bench.floor import floor

FHIR = "application/fhir+json; charset=utf-8"


def main() -> None:
    """Serve with the settings of service/api/listen.py."""
    port, url, file = int(sys.argv[1]), sys.argv[2], Path(sys.argv[3])
    body, row = file.read_bytes(), floor(url, folder=file.parent)
    app = FastAPI(openapi_url=None)

    @app.get("/fhir/Observation/{id_}")
    async def read(id_: str) -> Response:
        return Response(body, media_type=FHIR)

    @app.post("/fhir/Observation")
    async def create(request: Request) -> Response:
        text = await request.body()
        row.insert([text])
        return Response(text, 201, media_type=FHIR)

    uvicorn.run(
        app,
        port=port,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        limit_concurrency=1000,
    )


if __name__ == "__main__":
    main()
