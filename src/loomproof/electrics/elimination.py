"""Inverse of a grounded Laplacian without a subtraction, for networks of milliohms and kilohms together.

Ordinary elimination forms each pivot by subtracting; with wires of 7 mΩ behind components of 10 kΩ the last
pivots are then noise. Here a node is removed by the star-mesh transformation, its pivot being the sum of its
conductances; everything adds or multiplies positive numbers, so each entry keeps nearly full relative
accuracy. The idea is that of W. K. Grassmann, M. I. Taksar and D. P. Heyman, Oper. Res. 33 (1985) 1107, for
Markov chains (citation from memory). Nodes with the fewest neighbours go first, which in a net that is almost
a tree leaves the work about linear, apart from the inverse itself.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray


def inverse(nodes: int, edges: Iterable[tuple[int, int, float]]) -> NDArray[np.float64]:
    """Return G of ``nodes`` nodes with the last one grounded (a row and column of zeros), Ω.

    ``edges`` are (tail, head, siemens). Raises `ValueError` where the network is not connected.
    """
    ground = nodes - 1
    beside: list[dict[int, float]] = [{} for _ in range(nodes)]
    for a, b, siemens in edges:
        if a != b:
            beside[a][b] = beside[a].get(b, 0.0) + siemens
            beside[b][a] = beside[b].get(a, 0.0) + siemens
    injected = np.eye(nodes)
    steps: list[tuple[int, float, list[tuple[int, float]]]] = []
    queue = [(len(beside[k]), k) for k in range(ground)]
    heapq.heapify(queue)
    gone = [False] * nodes
    while queue:
        degree, node = heapq.heappop(queue)
        if gone[node] or degree != len(beside[node]):
            continue
        gone[node] = True
        star = list(beside[node].items())
        pivot = sum(siemens for _, siemens in star)
        if not pivot > 0.0:
            raise ValueError("the network is not connected")
        steps.append((node, pivot, star))
        for place, (a, siemens) in enumerate(star):
            del beside[a][node]
            share = siemens / pivot
            if a != ground:
                injected[a] += share * injected[node]
            for b, other in star[place + 1 :]:
                mesh = beside[a].get(b, 0.0) + share * other
                beside[a][b] = beside[b][a] = mesh
        for a, _ in star:
            if a != ground:
                heapq.heappush(queue, (len(beside[a]), a))
    found = np.zeros((nodes, nodes))
    for node, pivot, star in reversed(steps):
        row = injected[node]
        for other, siemens in star:
            if other != ground:
                row = row + siemens * found[other]
        found[node] = row / pivot
    found[:, ground] = 0.0
    return found
