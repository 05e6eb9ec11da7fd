"""Times recalculations inside LibreOffice; extends tests.support.uno_worker, under the Python that can `import uno`."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import uno_worker  # type: ignore[import-not-found]


def recalculate(desktop, request):
    """Seconds that each of two workbooks takes to recalculate, by turns; and in how many rows they differ."""
    import uno

    hidden = uno.createUnoStruct("com.sun.star.beans.PropertyValue", Name="Hidden", Value=True)
    documents = [
        desktop.loadComponentFromURL(uno.systemPathToFileUrl(path), "_blank", 0, (hidden,)) for path in request["paths"]
    ]
    try:
        values = []
        for document in documents:
            document.calculateAll()
            column = document.Sheets.getByIndex(0).getCellRangeByName(request["results"])
            values.append([cell for (cell,) in column.getDataArray()])
        pairs = zip(*values, strict=True)
        different = sum(not isinstance(a, float) or abs(a - b) > 1e-9 * abs(b) for a, b in pairs)
        times = [[], []]
        for _ in range(request["repeats"]):
            for document, seconds in zip(documents, times, strict=True):
                start = time.perf_counter()
                document.calculateAll()
                seconds.append(time.perf_counter() - start)
        return {"different": different, "seconds": times}
    finally:
        for document in documents:
            document.close(True)


uno_worker.ACTIONS["recalculate"] = recalculate

if __name__ == "__main__":
    uno_worker.main()
