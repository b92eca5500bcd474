"""Writes the trained reader as ONNX, batch normalisation folded into the convolutions.

The graph is written node by node, not traced: Conv, Relu, Flatten, Gemm of operator set 13 is all it holds,
so what OpenCV must run is known and stays the same whatever torch's exporter does next.
"""

from typing import Any

import numpy as np
from torch import Tensor, nn

from scan.vision import digits
from scan.vision.training.network import Reader

_OPSET, _IR_VERSION = 13, 8


def folded(convolution: nn.Conv2d, norm: nn.BatchNorm2d) -> tuple[Tensor, Tensor]:
    """Weight and bias of one convolution that does what both did."""
    if norm.running_mean is None or norm.running_var is None:
        raise ValueError("batch normalisation without running statistics can't be folded")
    gain = norm.weight / (norm.running_var + norm.eps).sqrt()
    return convolution.weight * gain[:, None, None, None], norm.bias - norm.running_mean * gain


def onnx_bytes(reader: Reader) -> bytes:
    """The reader as an ONNX file: views (N, 1, rows, cols) -> scores (N, 12), any N."""
    from onnx import TensorProto, checker, helper, numpy_helper

    nodes: list[Any] = []
    weights: list[Any] = []

    def held(name: str, value: Tensor) -> str:
        weights.append(numpy_helper.from_array(value.detach().numpy().astype(np.float32), name))
        return name

    at = "views"
    parts = list(reader.features)
    for n, (convolution, norm) in enumerate(zip(parts[0::3], parts[1::3], strict=True)):
        if not isinstance(convolution, nn.Conv2d) or not isinstance(norm, nn.BatchNorm2d):
            raise ValueError("the reader is made of convolution, normalisation, ReLU, in this order")
        weight, bias = folded(convolution, norm)
        names = [at, held(f"w{n}", weight), held(f"b{n}", bias)]
        kernel, stride = convolution.kernel_size[0], convolution.stride[0]
        nodes.append(
            helper.make_node(
                "Conv",
                names,
                [f"c{n}"],
                kernel_shape=[kernel] * 2,
                strides=[stride] * 2,
                pads=[kernel // 2] * 4,
            )
        )
        nodes.append(helper.make_node("Relu", [f"c{n}"], [f"r{n}"]))
        at = f"r{n}"
    nodes.append(helper.make_node("Flatten", [at], ["flat"], axis=1))
    last = ["flat", held("w", reader.answer.weight), held("b", reader.answer.bias)]
    nodes.append(helper.make_node("Gemm", last, ["scores"], transB=1))
    graph = helper.make_graph(
        nodes,
        "digits",
        [helper.make_tensor_value_info("views", TensorProto.FLOAT, ["N", 1, *digits.VIEW_PX])],
        [helper.make_tensor_value_info("scores", TensorProto.FLOAT, ["N", len(digits.ANSWERS)])],
        weights,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", _OPSET)], ir_version=_IR_VERSION)
    model.producer_name = "shortpencil"
    checker.check_model(model)
    data: bytes = model.SerializeToString()
    return data
