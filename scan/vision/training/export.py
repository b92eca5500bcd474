"""Writes the trained reader as ONNX, batch normalisation folded into the convolutions.

The graph is written node by node, not traced: Cast, Conv, Relu, Flatten, Gemm of operator set 13 is all it
holds, so what `seeing.convolving` must run is known and stays the same whatever torch's exporter does next.
Weights are kept in half precision, which halves the file, and cast to 32 bits when it is loaded.
"""

from typing import Any

import numpy as np
from torch import Tensor, nn

from shortpencil.scan.vision.seeing import digits
from shortpencil.scan.vision.training.network import Reader

_OPSET, _IR_VERSION = 13, 8


def folded(convolution: nn.Conv2d, norm: nn.BatchNorm2d) -> tuple[Tensor, Tensor]:
    """Weight and bias of one convolution that does what both did."""
    if norm.running_mean is None or norm.running_var is None:
        raise ValueError("batch normalisation without running statistics can't be folded")
    gain = norm.weight / (norm.running_var + norm.eps).sqrt()
    return convolution.weight * gain[:, None, None, None], norm.bias - norm.running_mean * gain


def as_shipped(reader: Reader) -> nn.Sequential:
    """The reader as it will be run: normalisation folded in, weights rounded to half precision."""
    parts = list(reader.features)
    layers: list[nn.Module] = []
    for convolution, norm in zip(parts[0::3], parts[1::3], strict=True):
        if not isinstance(convolution, nn.Conv2d) or not isinstance(norm, nn.BatchNorm2d):
            raise ValueError("the reader is made of convolution, normalisation, ReLU, in this order")
        one = nn.Conv2d(
            convolution.in_channels,
            convolution.out_channels,
            convolution.kernel_size,  # type: ignore[arg-type] # a pair, for every Conv2d that was built
            convolution.stride,  # type: ignore[arg-type]
            convolution.padding,  # type: ignore[arg-type]
        )
        weight, bias = folded(convolution, norm)
        one.load_state_dict({"weight": weight.half().float(), "bias": bias.half().float()})
        layers += [one, nn.ReLU()]
    last = nn.Linear(reader.answer.in_features, reader.answer.out_features)
    last.load_state_dict({k: v.half().float() for k, v in reader.answer.state_dict().items()})
    return nn.Sequential(*layers, nn.Flatten(), last).eval()


def onnx_bytes(shipped: nn.Sequential) -> bytes:
    """What `as_shipped` gave as an ONNX file: views (N, 1, rows, cols) -> scores (N, 12), flat (N, F), any N.

    `flat` is the last hidden layer, what one player's hand is learned in.
    """
    from onnx import TensorProto, checker, helper, numpy_helper

    nodes: list[Any] = []
    weights: list[Any] = []

    def held(name: str, value: Tensor) -> str:
        weights.append(numpy_helper.from_array(value.detach().numpy().astype(np.float16), f"{name}_half"))
        nodes.append(helper.make_node("Cast", [f"{name}_half"], [name], to=TensorProto.FLOAT))
        return name

    at, hidden = "views", 0
    for n, layer in enumerate(shipped):
        if isinstance(layer, nn.Conv2d):
            names = [at, held(f"w{n}", layer.weight), held(f"b{n}", layer.bias)]  # type: ignore[arg-type]
            shape: dict[str, Any] = {
                "kernel_shape": list(layer.kernel_size),
                "strides": list(layer.stride),
                "pads": [int(side) for side in layer.padding] * 2,
            }
            nodes.append(helper.make_node("Conv", names, [f"c{n}"], **shape))
            at = f"c{n}"
        elif isinstance(layer, nn.ReLU):
            nodes.append(helper.make_node("Relu", [at], [f"r{n}"]))
            at = f"r{n}"
        elif isinstance(layer, nn.Flatten):
            nodes.append(helper.make_node("Flatten", [at], ["flat"], axis=1))
        elif isinstance(layer, nn.Linear):
            hidden = layer.in_features
            last = ["flat", held("w", layer.weight), held("b", layer.bias)]
            nodes.append(helper.make_node("Gemm", last, ["scores"], transB=1))
        else:
            raise ValueError(f"no way to write {type(layer).__name__}")
    graph = helper.make_graph(
        nodes,
        "digits",
        [helper.make_tensor_value_info("views", TensorProto.FLOAT, ["N", 1, *digits.VIEW_PX])],
        [
            helper.make_tensor_value_info("scores", TensorProto.FLOAT, ["N", len(digits.ANSWERS)]),
            helper.make_tensor_value_info("flat", TensorProto.FLOAT, ["N", hidden]),
        ],
        weights,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", _OPSET)], ir_version=_IR_VERSION)
    model.producer_name = "shortpencil"
    checker.check_model(model)
    data: bytes = model.SerializeToString()
    return data
