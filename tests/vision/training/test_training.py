"""The making of the digit network, where it can be checked by hand; needs torch (extra `train`)."""

import gzip

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

torch = pytest.importorskip("torch", reason="training needs the extra `train`; reading does not")

from shortpencil.forms.errors import InputError  # noqa: E402 - after the check for torch, as all below
from shortpencil.scan.vision.seeing import digits  # noqa: E402
from shortpencil.scan.vision.training import (  # noqa: E402
    bank,
    between,
    bubbles,
    evaluate,
    export,
    hands,
    mnist,
    network,
    patches,
    pens,
    strokes,
)

CPU = torch.device("cpu")


@pytest.fixture(scope="module", autouse=True)
def _denormals_come_back():
    # Drawing patches makes the processor take denormal numbers for zero, in tests that come later, too.
    yield
    torch.set_flush_denormal(False)


@pytest.fixture(scope="module")
def small_bank():
    rng = np.random.default_rng(3)
    images = np.zeros((20, 28, 28), np.uint8)
    for n, image in enumerate(images):  # slanting bars, enough to be written with
        for y in range(4, 24):
            x = 14 + round((y - 14) * 0.3) + n % 5 - 2
            image[y, x : x + 3] = rng.integers(200, 256)
    labels = np.arange(20, dtype=np.int64) % 10
    return bank.build(images, labels, strokes.draw(40, 20, 20, 1), CPU)


@pytest.fixture(scope="module")
def made(small_bank):
    return patches.make(patches.Dice(CPU, 4), small_bank, patches.choices(small_bank), 100)


def test_idx_file_comes_back_as_it_was_written(tmp_path):
    values = np.arange(24, dtype=np.uint8).reshape(2, 3, 4)
    header = bytes([0, 0, 8, 3]) + b"".join(n.to_bytes(4, "big") for n in values.shape)
    (tmp_path / "a").write_bytes(header + values.tobytes())
    np.testing.assert_array_equal(mnist.read_idx(tmp_path / "a"), values)
    (tmp_path / "b.gz").write_bytes(gzip.compress(header + values.tobytes()))
    np.testing.assert_array_equal(mnist.read_idx(tmp_path / "b"), values)


def test_folder_without_the_files_is_named(tmp_path):
    with pytest.raises(InputError, match="found neither"):
        mnist.load(tmp_path, "train")


def test_idx_file_that_is_cut_off_or_mislabelled_is_refused(tmp_path):
    (tmp_path / "cut").write_bytes(bytes([0, 0, 8, 1, 0, 0, 0, 9, 1, 2]))
    with pytest.raises(InputError, match="expected 9 values, found 2"):
        mnist.read_idx(tmp_path / "cut")
    (tmp_path / "packed").write_bytes(b"\x1f\x8b\x08\x00")
    with pytest.raises(InputError, match="Unpack it first"):
        mnist.read_idx(tmp_path / "packed")


def test_a_bar_thins_to_a_line():
    mask = torch.zeros(1, 20, 20, dtype=torch.bool)
    mask[0, 3:17, 8:13] = True
    line = bank.thin(mask)[0]
    assert line.sum(dim=1).max() == 1
    assert torch.nonzero(line)[:, 1].unique().tolist() == [10]


def test_distances_are_euclidean():
    mask = np.random.default_rng(1).random((3, 30, 30)) < 0.02
    wanted = np.stack([distance_transform_edt(~m) for m in mask])
    np.testing.assert_allclose(bank.distance(torch.from_numpy(mask)), wanted, atol=1e-4)


def test_drawings_are_the_same_for_the_same_seed():
    a, b, c = strokes.draw(20, 10, 10, 5), strokes.draw(20, 10, 10, 5), strokes.draw(20, 10, 10, 6)
    np.testing.assert_array_equal(a.segments, b.segments)
    assert not np.array_equal(a.segments, c.segments)
    assert a.answers.tolist() == [*range(10)] * 2 + [strokes.SCRAP] * 20


def test_patches_hold_every_answer_in_its_share(made):
    assert made.patches.shape == (100, 48, 48)
    counts = torch.bincount(made.answers, minlength=12)
    assert counts[10] == 13
    assert counts[11] == 9
    assert torch.isfinite(made.patches).all()
    assert made.patches.min() >= 0
    assert made.patches.max() <= 1.2


def test_patches_are_the_same_for_the_same_seed(small_bank, made):
    choice = patches.choices(small_bank)
    again = patches.make(patches.Dice(CPU, 4), small_bank, choice, 100)
    other = patches.make(patches.Dice(CPU, 5), small_bank, choice, 100)
    assert torch.equal(made.patches, again.patches)
    assert not torch.equal(made.patches, other.patches)


def test_written_boxes_hold_more_ink_than_blank_ones(made):
    inner = made.patches[:, 14:34, 16:32].mean(dim=(1, 2))
    assert inner[made.answers < 10].median() > 3 * inner[made.answers == 10].median().abs()


def test_shares_of_the_training_are_those_the_reader_states():
    stated = (*((1 - patches.SHARE_BLANK - patches.SHARE_SCRAP) / 10,) * 10, patches.SHARE_BLANK)
    assert pytest.approx((*stated, patches.SHARE_SCRAP)) == digits.ANSWER_SHARES
    assert patches.MARGIN_MM == digits.PATCH_MARGIN_MM
    assert patches.PATCH_PX == digits.PATCH_PX


def test_jpeg_of_quality_95_keeps_a_smooth_picture():
    x = torch.linspace(0, 1, 48)
    smooth = (x[None, :, None] * x[None, None, :]).repeat(30, 1, 1)
    kept = patches._jpeg(patches.Dice(CPU, 1), smooth, 1.0)
    assert 0 < (kept - smooth).abs().max() < 0.06  # ITU-T T.81 table K.1, DC step 16 levels at quality 50


def test_training_and_reading_normalise_alike(made):
    heights = made.box_h_mm
    trained = network.normalise(made.patches, made.box_w_mm, heights).numpy()
    for n in range(0, 100, 7):
        read = digits.normalise(made.patches[n : n + 1].numpy(), (float(made.box_w_mm[n]), float(heights[n])))
        np.testing.assert_allclose(read[0], trained[n], atol=2e-4)


def test_exported_reader_scores_as_the_trained_one(made):
    import cv2

    torch.manual_seed(2)
    reader = network.Reader()
    views = network.normalise(made.patches, made.box_w_mm, made.box_h_mm)
    for _ in range(3):  # running statistics that are not the initial ones
        reader(views)
    shipped = export.as_shipped(reader.eval())
    model = export.onnx_bytes(shipped)
    net = cv2.dnn.readNetFromONNX(np.frombuffer(model, np.uint8))
    net.setInput(views.numpy())
    got = net.forward("scores")
    np.testing.assert_allclose(got, evaluate.torch_scores(shipped, views.numpy()), atol=1e-3)
    # Half precision keeps eleven bits of each weight.
    np.testing.assert_allclose(got, evaluate.torch_scores(reader, views.numpy()), atol=3e-2)


def test_exported_reader_hands_out_what_its_last_layer_sees(made):
    import cv2

    torch.manual_seed(3)
    shipped = export.as_shipped(network.Reader().eval())
    net = cv2.dnn.readNetFromONNX(np.frombuffer(export.onnx_bytes(shipped), np.uint8))
    net.setInput(network.normalise(made.patches, made.box_w_mm, made.box_h_mm).numpy())
    scores, flat = net.forward(["scores", "flat"])
    last = shipped[-1]
    np.testing.assert_allclose(
        flat @ last.weight.detach().numpy().T + last.bias.detach().numpy(), scores, atol=1e-4
    )


def test_no_writer_is_on_two_sides_and_every_side_has_some():
    writers = [f"numbers-{n:04d}" for n in range(1, 22)] + [f"uji{n:02d}" for n in range(60)]
    writers += ["numbers-0018_CHXX", "hwd1000-0", "numberpad-0"]
    sides = {writer: hands.part_of(writer) for writer in writers}
    counts = {side: list(sides.values()).count(side) for side in ("train", "tune", "report")}
    assert counts == {"train": 65, "tune": 8, "report": 11}  # 0018 is named twice here
    assert sides["hwd1000-0"] == "report"  # a source of its own that trains nothing


def test_hands_weigh_alike_however_much_they_wrote():
    weights = hands.even_weights(np.array(["a"] * 90 + ["b"] * 10))
    assert weights[:90].sum() == pytest.approx(0.5)
    assert weights.sum() == pytest.approx(1)


def test_a_pen_path_drawn_anew_is_the_same_digit_a_little_otherwise():
    way = [np.array([(100.0, 50.0), (100.0, 450.0)]), np.array([(0.0, 250.0), (200.0, 250.0)])]
    drawn = strokes.redraw([way], [4], 3, seed=1)
    assert drawn.answers.tolist() == [4, 4, 4]
    assert not np.array_equal(drawn.segments[0], drawn.segments[1])
    ends = drawn.segments.reshape(-1, 2)
    assert ends.min() > -0.3
    assert ends.max() < 1.3  # the long side is one


def test_a_glyph_is_shown_as_often_as_its_weight_says(small_bank):
    weights = torch.zeros(len(small_bank.answers))
    weights[3], weights[7] = 3.0, 1.0
    dice = patches.Dice(CPU, 1)
    shown = patches.choices(small_bank, weights).some_digits(dice, 4_000)
    assert set(shown.tolist()) == {3, 7}
    assert (shown == 3).float().mean() == pytest.approx(0.75, abs=0.03)


def test_a_pen_that_dries_leaves_gaps_and_one_that_writes_as_it_should_fewer():
    line = torch.ones(200, 48, 48)
    missing = []
    for odd in (0.0, 1.0):
        dice = patches.Dice(CPU, 2)
        pen = pens.any_pen(dice, torch.full((200,), odd), "drying ballpoint")
        plain = pen.of(grain=0 * pen.grain, uneven=0 * pen.uneven, level=torch.ones(200))
        missing.append(float((pens.inked(dice, line, plain) < 0.5).float().mean()))
    assert 0.02 < missing[0] < missing[1] < 0.5


def test_writing_that_a_copier_lost_counts_as_not_legible(small_bank):
    hand = torch.zeros(50, 48, 48)
    hand[:, 20:28, 22:25] = 0.1
    _, shows = patches.photograph(
        patches.Dice(CPU, 3), hand, 0 * hand, torch.full((50,), 7.0), share_good=1.0
    )
    assert (shows < patches._LEAST_SEEN).all()


@pytest.mark.parametrize(("name", "plan"), [("digits", "usual"), ("second", "second")])
def test_a_shipped_network_is_taken_up_again_as_it_was(name, plan):
    from importlib import resources

    model = resources.files("shortpencil.scan.vision.seeing").joinpath(f"{name}.onnx").read_bytes()
    views = np.random.default_rng(1).random((40, 1, *digits.VIEW_PX)).astype(np.float32) ** 3
    wanted = digits.scores(views, name)
    reader = network.unfolded(model, network.PLANS[plan], torch.from_numpy(views))
    reader.dropout.p = 0.0
    # Told by what it learnt, and by the very batch, as while it is trained.
    for way in (reader.eval(), reader.train()):
        got = way(torch.from_numpy(views)).detach().numpy()
        assert got == pytest.approx(wanted, abs=2e-3)


def test_halfway_between_two_layers_lie_the_means_of_their_weights():
    first, second = (torch.nn.Sequential(torch.nn.Linear(3, 2)) for _ in range(2))
    mean = (first[0].weight + second[0].weight).detach() / 2
    assert between.between(first, second, 0.5)[0].weight.detach().numpy() == pytest.approx(mean.numpy())


def test_photo_boxes_are_shown_in_the_shares_that_are_calibrated_for():
    from shortpencil.scan.vision.evidence import ANSWER_SHARES
    from shortpencil.scan.vision.training.photo_boxes import STEPS, PhotoBoxes
    from shortpencil.scan.vision.training.photo_source import PhotoSource

    # Ten times as many 3s as anything else, as on cards; ink says which answer it is.
    answers = np.repeat(np.arange(12), [5, 5, 5, 50, 5, 5, 5, 5, 5, 5, 5, 5]).astype(np.int8)
    n = len(answers)
    ink = np.broadcast_to((10 * answers + 20).astype(np.uint8)[:, None, None], (n, 48, 48)).copy()
    names = np.full(n, "")
    sizes = np.full((n, 2), (5.0, 6.0), np.float32)
    source = PhotoSource(PhotoBoxes(ink, sizes, answers, np.ones(n, bool), names, names, names), CPU)
    drawn = source.draw(patches.Dice(CPU, 5), 4_000)
    assert np.bincount(drawn.answers, minlength=12) / 4_000 == pytest.approx(ANSWER_SHARES, abs=0.02)
    told = drawn.patches.mean(dim=(1, 2)) * STEPS
    assert np.corrcoef(told, 10 * drawn.answers + 20)[0, 1] > 0.95
    assert float(drawn.patches.min()) >= 0


def test_bubbles_learn_on_from_what_ships(tmp_path):
    # Weights lie transposed and by rows in the file: what is not put back in place gives other scores.
    rng = np.random.default_rng(4)
    mean, scale = torch.zeros(bubbles.FIGURES), torch.ones(bubbles.FIGURES)
    net = bubbles.Net(bubbles.SHIPPED, mean, scale)
    np.savez(tmp_path / "before.npz", **{k: v.astype(np.float32) for k, v in net.weights().items()})
    again = bubbles.begun_from(bubbles.Net(bubbles.SHIPPED, mean + 1, scale + 1), tmp_path / "before.npz")
    side = bubbles.VIEW_PX
    seen = (
        torch.from_numpy(rng.random((6, 2, side, side), np.float32)),
        torch.from_numpy(rng.random((6, bubbles.MEASURES), np.float32)),
        torch.from_numpy(rng.random((1, bubbles.FIGURES), np.float32)),
        torch.zeros(6, dtype=torch.int64),
        torch.ones(6),
    )
    for one, other in zip(net.eval()(*seen), again.eval()(*seen), strict=True):
        assert torch.allclose(one, other, atol=1e-6)
