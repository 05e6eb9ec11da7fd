"""Chunks read side by side: by processes of this computer, or by the workers of a Dask cluster. Nothing is lost.

A process that ends in the middle takes the chunks of all others with it, so that nobody knows which one did it. These
are read again one at a time, in halves: what ends its process then is divided further, down to the file, and a file
that ends its process twice when read alone is given up and said to be unreadable. A chunk that stops the reader with
an error nobody foresaw is divided likewise, so that one file never ends a run over all others.
"""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from workbook_tools.across.many_logs.chunk import Batch, Chunk, lost, read_chunk
from workbook_tools.errors import HostError, MissingLibraryError

AHEAD = 2  # chunks in hand for each worker: enough that none waits, few enough that memory stays flat
PATIENCE = "20s"
ENDED = "ended the process that read it, twice: it may need more memory than there is, or be damaged."
Reader = Callable[[Chunk], Batch]
Answers = Iterator[tuple[int, list[Batch]]]  # each chunk's place with its batches, as they come
Work = Callable[[Sequence[Chunk]], Answers]


@contextlib.contextmanager
def local_work(workers: int, reader: Reader = read_chunk) -> Iterator[Work]:
    """So many processes of this computer."""
    yield lambda chunks: _locally(chunks, workers, reader)


def _locally(chunks: Sequence[Chunk], workers: int, reader: Reader) -> Answers:
    waiting = list(range(len(chunks)))[::-1]
    while waiting:
        suspects: list[int] = []
        with _pool(min(workers, len(waiting))) as pool:
            running: dict[Future[Batch], int] = {}
            broken = False
            while running or (waiting and not broken):
                while waiting and not broken and len(running) < AHEAD * workers:
                    try:
                        running[pool.submit(reader, chunks[waiting[-1]])] = waiting[-1]
                        waiting.pop()
                    except BrokenProcessPool:
                        broken = True
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    place, error = running.pop(future), future.exception()
                    broken = broken or isinstance(error, BrokenProcessPool)
                    if error is None:
                        yield place, [future.result()]
                    else:
                        suspects.append(place)
        for place in suspects:
            yield place, [batch for half in chunks[place].halves() for batch in _alone(half, reader)]


def _pool(workers: int) -> ProcessPoolExecutor:
    # spawned, not forked: pyarrow has threads, and it is the same on every system
    return ProcessPoolExecutor(max(workers, 1), mp_context=multiprocessing.get_context("spawn"))


def _alone(chunk: Chunk, reader: Reader, ended_before: bool = False) -> Iterator[Batch]:
    """Read a chunk with nothing beside it."""
    with _pool(1) as pool:
        future = pool.submit(reader, chunk)
        error = future.exception()
    if error is None:
        yield future.result()
    elif len(chunk) > 1:
        for half in chunk.halves():
            yield from _alone(half, reader)
    elif not isinstance(error, BrokenProcessPool):
        yield lost(chunk, _unforeseen(error))
    elif ended_before:
        yield lost(chunk, ENDED)
    else:
        yield from _alone(chunk, reader, ended_before=True)


def _unforeseen(error: BaseException) -> str:
    return f"stopped the reader with an error that it does not know ({type(error).__name__}: {error})."


@contextlib.contextmanager
def cluster(address: str, reader: Reader = read_chunk) -> Iterator[Work]:
    """A Dask cluster that runs already.

    A chunk whose worker ends is given to another by Dask itself; one that ended as many as the scheduler allows is
    divided, down to the file.

    Raises
    ------
    MissingLibraryError : distributed is not installed. HostError : no cluster answers at the address, it has no worker,
    or, while it reads, its workers lack these tools.
    """
    distributed = _distributed()
    with _client(distributed, address) as client:
        if not client.nthreads():
            raise HostError(f"The cluster at {address} has no worker: start one, then try again.")
        yield lambda chunks: _on(client, distributed, address, chunks, reader)


def _on(client: Any, distributed: Any, address: str, chunks: Sequence[Chunk], reader: Reader) -> Answers:
    waiting = list(enumerate(chunks))[::-1]
    parts_left = dict.fromkeys(range(len(chunks)), 1)
    batches: dict[int, list[Batch]] = {}
    running: dict[Any, tuple[int, Chunk]] = {}
    most = AHEAD * sum(client.nthreads().values())
    while waiting or running:
        while waiting and len(running) < most:
            place, chunk = waiting.pop()
            running[client.submit(reader, chunk, pure=False)] = (place, chunk)
        with client.as_current():
            ready = distributed.wait(list(running), return_when="FIRST_COMPLETED").done
        for future in ready:
            place, chunk = running.pop(future)
            error = future.exception()
            if error is not None and len(chunk) > 1 and not isinstance(error, ModuleNotFoundError):
                waiting += [(place, half) for half in chunk.halves()]
                parts_left[place] += 1
                continue
            batches.setdefault(place, []).append(_batch(future, error, chunk, address))
            parts_left[place] -= 1
            if not parts_left[place]:
                yield place, batches.pop(place)


def _distributed() -> Any:
    try:
        import distributed
    except ImportError as error:
        raise MissingLibraryError("distributed", "cluster", "Gathering on a Dask cluster") from error
    return distributed


def _batch(future: Any, error: BaseException | None, chunk: Chunk, address: str) -> Batch:
    """The answer of a cluster's worker, or what is said instead of it."""
    if isinstance(error, ModuleNotFoundError):
        raise HostError(
            f"A worker of the cluster at {address} lacks {error.name}: pip install 'workbook-tools[programme]' on each."
        ) from error
    if error is None:
        batch: Batch = future.result()
        return batch
    return lost(chunk, ENDED if type(error).__name__ == "KilledWorker" else _unforeseen(error))


def _client(distributed: Any, address: str) -> Any:
    try:
        return distributed.Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise HostError(
            f"No Dask cluster answers at {address} ({error}). An address is what its scheduler prints, such as "
            "tcp://10.0.0.5:8786."
        ) from error
