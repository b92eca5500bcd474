"""The networks: the small one that is shipped and the large ones it may learn from; and their input.

`normalise` repeats `scan.vision.seeing.digits.normalise` with torch so that training sees what reading sees,
batch by batch and with boxes of mixed height; tests/vision/seeing/test_digits.py holds the two equal.
"""

import torch
from torch import Tensor, nn
from torch.nn import functional

from shortpencil.scan.vision.seeing import digits

ANSWERS = len(digits.ANSWERS)


def _resampling(px: int, side_mm: Tensor, view_mm: Tensor) -> Tensor:
    at = torch.arange(px, device=side_mm.device, dtype=torch.float32)
    source = torch.arange(digits.PATCH_PX, device=side_mm.device, dtype=torch.float32)
    ratio = (view_mm / px / (side_mm / digits.PATCH_PX))[:, None, None]
    centres_mm = ((at[None] + 0.5) / px - 0.5) * view_mm[:, None]
    wanted = (centres_mm / side_mm[:, None] + 0.5) * digits.PATCH_PX - 0.5
    weights = (1 - (wanted[:, :, None] - source[None, None, :]).abs() / ratio.clamp(min=1)).clamp(min=0)
    return weights / weights.sum(dim=2, keepdim=True)


def normalise(patches: Tensor, box_w_mm: Tensor, box_h_mm: Tensor) -> Tensor:
    """Input (N, 1, rows, cols) for patches (N, 48, 48) of boxes of the given widths and heights (N,)."""
    side, margin = box_h_mm + digits.PATCH_MARGIN_MM, digits.VIEW_MARGIN_MM
    rows, cols = digits.VIEW_PX
    down = _resampling(rows, side, box_h_mm + 2 * margin)
    across = _resampling(cols, side, box_w_mm + 2 * margin)
    return (down @ patches @ across.transpose(1, 2))[:, None]


def _conv(wide_in: int, wide_out: int, kernel: int = 3, stride: int = 1) -> list[nn.Module]:
    convolution = nn.Conv2d(wide_in, wide_out, kernel, stride, kernel // 2, bias=False)
    return [convolution, nn.BatchNorm2d(wide_out), nn.ReLU(inplace=True)]


# Width, kernel and stride of each convolution of the reader. OpenCV runs widths that are multiples of 16, 32
# where pictures are large, in less time: with 72 in place of 64 and 96 it took 41.6 instead of 29.2 ms for
# 66 boxes, and was right as often.
Plan = tuple[tuple[int, int, int], ...]
PLAN: Plan = ((16, 3, 1), (32, 3, 2), (48, 3, 1), (64, 3, 2), (64, 3, 1), (96, 3, 2), (96, 3, 1))
#: What else was tried: a third more products and half as many weights again.
PLANS: dict[str, Plan] = {
    "usual": PLAN,
    "wide": ((16, 3, 1), (32, 3, 2), (48, 3, 1), (80, 3, 2), (80, 3, 1), (128, 3, 2), (128, 3, 1)),
    # Asked about the boxes that the usual one is not sure of: 86 M products a patch.
    "second": (
        *((32, 3, 1), (64, 3, 1), (64, 3, 2), (96, 3, 1), (96, 3, 1)),
        *((160, 3, 2), (160, 3, 1), (192, 3, 2), (192, 3, 1)),
    ),
}


class Reader(nn.Module):
    """The shipped network: seven convolutions and a linear layer, 240 k parameters, 10 M products a patch.

    Only layers every OpenCV since 4.10 runs the same way. The last layer sees positions, not an average over
    them: where a stroke lies tells a digit from the outline and from the neighbour's tail. Wrong of 21,600
    held-out cells in good and in any photos: this one 216 and 300; with 32 instead of 48 in the third layer
    233 to 238 and 316 to 327; with another layer of 64 instead of the last of 96, 228 and 300.
    """

    def __init__(self, dropout: float = 0.2, plan: Plan = PLAN) -> None:
        super().__init__()
        layers: list[nn.Module] = []
        before, (rows, cols) = 1, digits.VIEW_PX
        for width, kernel, stride in plan:
            layers += _conv(before, width, kernel, stride)
            before, rows, cols = width, -(-rows // stride), -(-cols // stride)
        self.features = nn.Sequential(*layers)
        self.dropout = nn.Dropout(dropout)
        self.answer = nn.Linear(before * rows * cols, ANSWERS)

    def forward(self, views: Tensor) -> Tensor:
        """Logits (N, 12)."""
        return self.answer(self.dropout(self.features(views).flatten(1)))  # type: ignore[no-any-return]


def unfolded(onnx_model: bytes, plan: Plan, views: Tensor) -> Reader:
    """A reader that gives what a shipped file gives, ready to be trained further.

    The file has no normalisation left. Each layer's is put back so that the function stays the same on inputs
    like `views` (N, 1, rows, cols), which it takes its means and variances from.
    """
    import onnx
    from onnx import numpy_helper

    graph = onnx.load_from_string(onnx_model).graph
    held = {
        w.name.removesuffix("_half"): torch.tensor(numpy_helper.to_array(w)).float()
        for w in graph.initializer
    }
    convolutions = [node.input[1:3] for node in graph.node if node.op_type == "Conv"]
    reader = Reader(plan=plan)
    at, parts = views.cpu(), list(reader.features)
    for (weight, bias), conv, norm in zip(convolutions, parts[0::3], parts[1::3], strict=True):
        assert isinstance(conv, nn.Conv2d)
        assert isinstance(norm, nn.BatchNorm2d)
        conv.weight.data.copy_(held[weight])
        at = conv(at).detach()
        variance, mean = torch.var_mean(at, dim=(0, 2, 3), correction=0)
        norm.running_mean, norm.running_var = mean, variance
        norm.weight.data.copy_((variance + norm.eps).sqrt())
        norm.bias.data.copy_(held[bias] + mean)
        at = functional.relu(at + held[bias][:, None, None])
    reader.answer.load_state_dict({"weight": held["w"], "bias": held["b"]})
    return reader


class _Block(nn.Module):
    def __init__(self, wide_in: int, wide_out: int, stride: int) -> None:
        super().__init__()
        self.way = nn.Sequential(*_conv(wide_in, wide_out, 3, stride), *_conv(wide_out, wide_out)[:2])
        self.short: nn.Module = nn.Identity()
        if stride != 1 or wide_in != wide_out:
            self.short = nn.Sequential(
                nn.Conv2d(wide_in, wide_out, 1, stride, bias=False), nn.BatchNorm2d(wide_out)
            )
        self.end = nn.ReLU(inplace=True)

    def forward(self, x: Tensor) -> Tensor:
        return self.end(self.way(x) + self.short(x))  # type: ignore[no-any-return]


class Teacher(nn.Module):
    """A residual network of 1.6 M parameters, for a GPU; never shipped."""

    def __init__(self, dropout: float = 0.2, width: int = 48) -> None:
        super().__init__()
        w = width
        self.features = nn.Sequential(
            *_conv(1, w), _Block(w, w, 1), _Block(w, 2 * w, 2), _Block(2 * w, 2 * w, 1),
            _Block(2 * w, 4 * w, 2), _Block(4 * w, 4 * w, 1),
        )  # fmt: skip
        rows, cols = (-(-size // 4) for size in digits.VIEW_PX)
        self.pool = nn.MaxPool2d(2, ceil_mode=True)
        self.dropout = nn.Dropout(dropout)
        self.answer = nn.Linear(4 * w * (-(-rows // 2)) * (-(-cols // 2)), ANSWERS)

    def forward(self, views: Tensor) -> Tensor:
        """Logits (N, 12)."""
        return self.answer(self.dropout(self.pool(self.features(views)).flatten(1)))  # type: ignore[no-any-return]
