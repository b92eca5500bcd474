"""How the digit reader's network was made: run by hand, needs the extra `train`, imported by nothing.

mnist.py reads the training images, strokes.py draws what MNIST lacks, bank.py turns both into fields that can
be drawn in any pen at any size, patches.py puts them on simulated paper and photographs it, network.py holds
the networks, train.py trains, export.py writes ONNX, evaluate.py measures, install.py puts the result into
the package.
"""
