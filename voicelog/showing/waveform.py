"""The outline of a clip: how loud each part of it is."""

import numpy as np

PARTS = 240


def outline(samples: np.ndarray, parts: int = PARTS) -> list[int]:
    """Peak of each of ``parts`` equal stretches of int16 ``samples``, 0 to 100 of full scale."""
    if not len(samples):
        return [0] * parts
    edges = np.linspace(0, len(samples), parts + 1).astype(int)
    peaks = [int(np.abs(samples[a:b].astype(np.int32)).max(initial=0)) for a, b in zip(edges, edges[1:], strict=False)]
    return [round(peak / 32768 * 100) for peak in peaks]
