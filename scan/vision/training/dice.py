"""Random numbers in batches, of one seeded generator on one device."""

import torch
from torch import Tensor

PATCH_PX = 48


def col(values: Tensor) -> Tensor:
    """(N,) as (N, 1, 1)."""
    return values[:, None, None]


class Dice:
    """Random tensors of one seeded generator on one device."""

    def __init__(self, device: torch.device, seed: int) -> None:
        self.device = device
        # The far tails of blurs are denormal numbers, on which a CPU is a hundred times slower.
        torch.set_flush_denormal(True)
        self.generator = torch.Generator(device=device)
        self.generator.manual_seed(seed)
        self._up: dict[int, Tensor] = {}

    def uniform(self, n: int, low: float, high: float) -> Tensor:
        """(n,) between low and high."""
        return low + (high - low) * torch.rand(n, device=self.device, generator=self.generator)

    def normal(self, *shape: int) -> Tensor:
        """Standard normal."""
        return torch.randn(*shape, device=self.device, generator=self.generator)

    def chance(self, n: int, p: float) -> Tensor:
        """(n,) bool, True with probability p."""
        return torch.rand(n, device=self.device, generator=self.generator) < p

    def below(self, n: int, end: int) -> Tensor:
        """(n,) whole numbers from 0 to end - 1."""
        return torch.randint(end, (n,), device=self.device, generator=self.generator)

    def pick(self, n: int, numbers: Tensor) -> Tensor:
        """(n,) of the given numbers."""
        return numbers[self.below(n, len(numbers))]

    def order(self, n: int) -> Tensor:
        """(n,) the numbers below n in any order."""
        return torch.rand(n, device=self.device, generator=self.generator).argsort()

    def clouds(self, n: int, cells: int) -> Tensor:
        """(n, 48, 48) smooth noise of unit variance at its nodes, `cells` nodes across."""
        # Two products with a matrix of linear weights: four times as fast on a CPU as interpolate().
        if cells not in self._up:
            place = torch.linspace(0, cells - 1, PATCH_PX, device=self.device)
            at = torch.arange(cells, device=self.device)
            self._up[cells] = (1 - (place[:, None] - at[None]).abs()).clamp(min=0)
        up = self._up[cells]
        return up @ self.normal(n, cells, cells) @ up.T
