"""Trains the digit network.

Run: python -m shortpencil.scan.vision.training.train --mnist DIR --hands NPZ --out DIR

First some teachers, each on its own weights and all on the same endless stream of simulated patches; then the
readers, on the answers and on what the teachers say together. The learning rate follows the clock
(`--minutes`) or the count of steps (`--steps`); the count is written into the result, and giving it repeats a
run. Exactly the same only on the same device and library: random numbers differ between CPU and GPU.
"""

import argparse
import copy
import math
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional

from shortpencil.scan.vision.training import bank as glyph_bank
from shortpencil.scan.vision.training import fonts, hands, mnist, network, patches, photo_boxes, strokes
from shortpencil.scan.vision.training.photo_source import PhotoSource

# Over the last steps weights are averaged with this half-life, in steps; steadier than the last step's
# weights.
_AVERAGE_HALF_LIFE = 300

_POOL = 100  # batches kept for another use
# Batches drawn at a time on a GPU, where starting the some 700 steps of a drawing takes longer than the
# drawing.
_AT_ONCE = 4

#: Of the digits shown: MNIST's, of the collected hands (each hand alike) as pictures and as pen paths, of our
#: own drawings, of fonts. A source that is not given leaves its share to the others.
SHARES = {"mnist": 0.28, "hands": 0.28, "paths": 0.10, "drawn": 0.24, "fonts": 0.10}
#: Bent copies of each digit of a font: with a hundred families about as many as there are drawings.
FONT_COPIES = 20
#: Times each pen path is drawn anew.
PATH_COPIES = 8


@dataclass(frozen=True, slots=True)
class Lesson:
    """Inputs (N, 1, rows, cols), answers (N,), what counts (N,), 1 or 0, what teachers say (N, 12)."""

    views: Tensor
    answers: Tensor
    counts: Tensor
    taught: Tensor | None


@torch.no_grad()
def _told(teachers: list[nn.Module], views: Tensor) -> Tensor | None:
    """Mean log probabilities of the teachers' mean probability; None without any."""
    with torch.autocast(views.device.type, dtype=torch.bfloat16):
        told = [functional.log_softmax(teacher(views).float(), dim=1) for teacher in teachers]
    return torch.stack(told).logsumexp(0) - math.log(len(told)) if told else None


@dataclass(slots=True)
class Source:
    """An endless stream of simulated training patches, as network inputs.

    Drawing a patch and asking the teachers about it takes longer than training on it; `uses` above 1 shows
    each batch so many times on average, far apart.
    """

    dice: patches.Dice
    bank: glyph_bank.Bank
    choice: patches.Choice
    batch: int
    uses: int = 1
    photos: PhotoSource | None = None
    photo_share: float = 0.0
    _count: int = 0
    teachers: list[nn.Module] = field(default_factory=list)
    _pool: list[Lesson] = field(default_factory=list)
    _drawn: list[Lesson] = field(default_factory=list)
    _picks: np.random.Generator = field(default_factory=lambda: np.random.default_rng(1))

    @torch.no_grad()
    def next(self) -> Lesson:
        """The next batch, a fresh one or one of the last hundred again."""
        self._count += 1
        if self._count % self.uses and len(self._pool) == _POOL:
            return self._pool[int(self._picks.integers(_POOL))]
        if not self._drawn:
            self._drawn = self._draw()
        fresh = self._drawn.pop()
        if self.uses > 1:
            if len(self._pool) == _POOL:
                self._pool[int(self._picks.integers(_POOL))] = fresh
            else:
                self._pool.append(fresh)
        return fresh

    def _draw(self) -> list[Lesson]:
        """A few fresh batches, each a mixture of all answers."""
        count = _AT_ONCE if self.dice.device.type == "cuda" else 1
        of_photos = round(self.batch * count * self.photo_share) if self.photos is not None else 0
        made = patches.make(self.dice, self.bank, self.choice, self.batch * count - of_photos)
        if self.photos is not None and of_photos:
            made = patches.both(made, self.photos.draw(self.dice, of_photos))
        views = network.normalise(made.patches, made.box_w_mm, made.box_h_mm)
        lessons = []
        for some in self.dice.order(len(views)).chunk(count):
            few = views[some].contiguous(memory_format=torch.channels_last)
            told = _told(self.teachers, few)
            lessons.append(Lesson(few, made.answers[some], made.legible[some].float(), told))
        return lessons


@dataclass(frozen=True, slots=True)
class Data:
    """Where the digits come from; what is None is left out."""

    mnist: Path | None = None
    hands: Path | None = None
    paths: Path | None = None
    fonts: Path | None = None


def load_bank(
    data: Data, part: str, drawn: int, seed: int, device: torch.device, most: int | None = None
) -> tuple[glyph_bank.Bank, Tensor, dict[str, int]]:
    """Glyphs of one part ("train", "tune" or "report"), a weight (G,) for each, and how many of each source.

    Parameters
    ----------
    drawn : our own drawings of digits; half as many signs and scribbles
    most : at most so many pictures of each source, to try things
    """
    rng = np.random.default_rng(seed)
    banks, weights, counts = [], [], {}

    def add(source: str, made: glyph_bank.Bank, each: np.ndarray[tuple[int], np.dtype[np.float64]]) -> None:
        banks.append(made)
        counts[source] = len(each)
        weights.append(torch.from_numpy(each / max(each.sum(), 1e-9) * SHARES[source]))

    def some(count: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        order = np.arange(count)
        return order if most is None or count <= most else np.sort(rng.choice(count, most, replace=False))

    if data.mnist is not None:
        images, labels = mnist.load(data.mnist, {"tune": "held_out", "report": "test"}.get(part, part))
        rows = some(len(images))
        add("mnist", glyph_bank.of_pictures(images[rows], labels[rows], device), np.ones(len(rows)))
    if data.hands is not None:
        held = hands.load(data.hands, part)
        rows = some(len(held.labels))
        made = glyph_bank.of_pictures(held.images[rows], held.labels[rows], device)
        add("hands", made, hands.even_weights(held.writers[rows]))
    if data.paths is not None:
        ways, told, writers = hands.load_paths(data.paths, part)
        rows = some(len(told))
        drawings = strokes.redraw([ways[i] for i in rows], [told[i] for i in rows], PATH_COPIES, seed)
        each = np.repeat(hands.even_weights(np.array(writers)[rows]), PATH_COPIES)
        add("paths", glyph_bank.of_strokes(drawings, device), each)
    if data.fonts is not None:
        files = [
            f
            for f in fonts.files_in(data.fonts)
            if (fonts.family_of(f) in fonts.TRAINED_ON) == (part == "train")
        ]
        if files:
            images, labels, _ = fonts.load(files, FONT_COPIES, seed)
            rows = some(len(images))
            add("fonts", glyph_bank.of_pictures(images[rows], labels[rows], device), np.ones(len(rows)))
    drawings = _drawings(drawn, seed)
    add("drawn", glyph_bank.of_strokes(drawings, device), (drawings.kinds == 0).astype(np.float64))
    return glyph_bank.joined(banks), torch.cat(weights).to(device), counts


def _drawings(count: int, seed: int) -> strokes.Drawings:
    """Drawings by several processes: Python draws some 5,000 a second."""
    parts = max(count // 2_000, 1)
    each = -(-count // (10 * parts)) * 10
    seeds = [seed * 1_000 + k for k in range(parts)]
    if parts == 1:
        return strokes.draw(each, each // 2, each // 2, seeds[0])
    with ProcessPoolExecutor() as pool:
        many = list(pool.map(strokes.draw, [each] * parts, [each // 2] * parts, [each // 2] * parts, seeds))
    return strokes.Drawings(
        np.concatenate([d.segments for d in many]),
        np.concatenate([d.answers for d in many]),
        np.concatenate([d.kinds for d in many]),
    )


def _loss(logits: Tensor, lesson: Lesson) -> Tensor:
    hard = functional.cross_entropy(logits, lesson.answers, reduction="none")
    if lesson.taught is not None:
        # Hinton, Vinyals, Dean 2015, arXiv 1503.02531: softened answers, the gradient scaled back by the
        # square.
        soft = 2.0
        told = functional.kl_div(
            functional.log_softmax(logits / soft, dim=1),
            functional.softmax(lesson.taught / soft, dim=1),
            reduction="none",
        ).sum(dim=1)
        hard = 0.3 * hard + 0.7 * soft * soft * told
    return (hard * lesson.counts).sum() / lesson.counts.sum().clamp(min=1)


@torch.no_grad()
def _follow(average: nn.Module, model: nn.Module, rate: float) -> None:
    kept, now = list(average.state_dict().values()), list(model.state_dict().values())
    floats = [k for k, value in enumerate(kept) if value.dtype.is_floating_point]
    torch._foreach_lerp_([kept[k] for k in floats], [now[k] for k in floats], rate)
    for k, value in enumerate(kept):
        if k not in floats:
            value.copy_(now[k])


@dataclass(frozen=True, slots=True)
class Length:
    """How long to train: so many steps, or, with 0 steps, so many minutes."""

    steps: int
    minutes: float

    def done(self, step: int, seconds: float) -> float:
        """Share of the training that is over, 0 to 1 and beyond."""
        return step / self.steps if self.steps else seconds / (60 * self.minutes)


def _rate(peak: float, step: int, done: float) -> float:
    """Learning rate: 200 steps of warm-up, then half a cosine."""
    return peak * min(1.0, (step + 1) / 200) * (0.002 + 0.998 * (1 + math.cos(math.pi * min(done, 1))) / 2)


def _step(model: nn.Module, optimiser: torch.optim.AdamW, lesson: Lesson) -> Tensor:
    """Loss of the model, after it learned from a batch."""
    with torch.autocast(lesson.views.device.type, dtype=torch.bfloat16):
        scores = model(lesson.views).float()
    loss = _loss(scores, lesson)
    optimiser.zero_grad(set_to_none=True)
    loss.backward()  # type: ignore[no-untyped-call]
    nn.utils.clip_grad_norm_(model.parameters(), 2.0)
    optimiser.step()
    return loss.detach()


def train(
    models: list[nn.Module], source: Source, length: Length, lr: float, say: str
) -> tuple[list[nn.Module], int]:
    """The averaged models after training side by side on one stream, and the number of steps."""
    averages, optimisers = [], []
    for model in models:
        model.to(memory_format=torch.channels_last)  # type: ignore[call-overload] # missing in torch's stubs
        averages.append(copy.deepcopy(model).eval())
        fused = next(model.parameters()).device.type == "cuda"
        optimisers.append(torch.optim.AdamW(model.parameters(), lr=lr, weight_decay=0.02, fused=fused))
    begun = time.perf_counter()
    step = 0
    while (done := length.done(step, time.perf_counter() - begun)) < 1:
        lesson = source.next()
        losses = []
        for model, average, optimiser in zip(models, averages, optimisers, strict=True):
            for group in optimiser.param_groups:
                group["lr"] = _rate(lr, step, done)
            losses.append(_step(model, optimiser, lesson))
            _follow(average, model, 1 - 0.5 ** (1 / min(_AVERAGE_HALF_LIFE, 1 + step / 10)))
        step += 1
        if step % 100 == 0 and source.dice.device.type == "cuda":
            torch.cuda.synchronize()  # or the clock would run ahead of the device
        if step % 500 == 0 or step == 20:
            told = ", ".join(f"{float(loss):.4f}" for loss in losses)
            print(
                f"{say}: {done:.0%}, step {step}, {time.perf_counter() - begun:.0f} s, loss {told}",
                flush=True,
            )
    return averages, step


def load_teacher(file: Path, device: torch.device) -> nn.Module:
    """A teacher that an earlier run wrote."""
    held = torch.load(file, map_location="cpu", weights_only=True)
    teacher = network.Teacher(width=len(held["teacher"]["features.0.weight"]))
    teacher.load_state_dict({name: value.float() for name, value in held["teacher"].items()})
    return teacher.to(device).eval().to(memory_format=torch.channels_last)  # type: ignore[call-overload,no-any-return]


def _begun(plan: str, file: Path | None, source: Source) -> nn.Module:
    """A reader as it begins: anew, or as an earlier run or the package left it."""
    if file is None:
        return network.Reader(plan=network.PLANS[plan])
    if file.suffix == ".onnx":
        return network.unfolded(file.read_bytes(), network.PLANS[plan], source.next().views.contiguous())
    reader = network.Reader(plan=network.PLANS[plan])
    reader.load_state_dict(torch.load(file, weights_only=True)["reader"])
    return reader


def save(model: nn.Module, name: str, about: dict[str, object], file: Path) -> None:
    """Write a model; a teacher in half precision, since it is only asked."""
    state = {key: value.detach().cpu() for key, value in model.state_dict().items()}
    if name == "teacher":
        state = {key: value.half() if value.is_floating_point() else value for key, value in state.items()}
    file.parent.mkdir(parents=True, exist_ok=True)
    torch.save({name: state, "about": about}, file)
    print(f"wrote {file}: {about}", flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mnist", type=Path, help="folder of the four unpacked IDX files")
    parser.add_argument("--hands", type=Path, help="NPZ of digits by writer (see hands.py)")
    parser.add_argument("--paths", type=Path, help="packed JSON of pen paths (see hands.py)")
    parser.add_argument("--fonts", type=Path, help="folder of handwriting fonts (see fonts.py)")
    parser.add_argument("--out", type=Path, required=True, help="folder for the weights")
    parser.add_argument("--device", default="auto", help="auto, cpu or cuda")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--teachers", type=int, default=3, help="how many to train")
    parser.add_argument("--teacher-width", type=int, default=48, help="channels of their first layer")
    parser.add_argument("--taught-by", type=Path, nargs="*", default=[], help="teachers of an earlier run")
    parser.add_argument("--go-on", action="store_true", help="train the teachers of --taught-by further")
    parser.add_argument("--start-from", type=Path, help="weights of a reader to go on from, .pt or .onnx")
    parser.add_argument("--photos", type=Path, help="folder of boxes cut out of photos (see photo_boxes.py)")
    parser.add_argument("--photo-share", type=float, default=0.5, help="their share of what is shown")
    parser.add_argument("--teach-minutes", type=float, default=3.5, help="time to train the teachers")
    parser.add_argument("--teach-steps", type=int, default=0, help="steps to train them, to repeat a run")
    parser.add_argument("--minutes", type=float, default=3.5, help="time to train the readers")
    parser.add_argument("--steps", type=int, default=0, help="steps to train them, to repeat a run")
    parser.add_argument("--rate", type=float, default=4e-3, help="learning rate of the readers at its peak")
    parser.add_argument("--plans", nargs="*", default=["usual"], choices=list(network.PLANS))
    parser.add_argument("--batch", type=int, default=0, help="patches a step; 256 on a CPU, 2048 on a GPU")
    parser.add_argument("--uses", type=int, default=4, help="times a patch is shown to the readers")
    parser.add_argument("--drawn", type=int, default=40_000, help="digits we draw; half as many other signs")
    parser.add_argument("--most", type=int, help="at most so many pictures of each source, to try things")
    return parser


def main() -> None:
    """Command line."""
    args = _parser().parse_args()
    device = torch.device(
        ("cuda" if torch.cuda.is_available() else "cpu") if args.device == "auto" else args.device
    )
    batch = args.batch or (2048 if device.type == "cuda" else 256)
    torch.manual_seed(args.seed)
    torch.backends.cudnn.benchmark = True
    torch.set_float32_matmul_precision("high")
    started = time.perf_counter()
    data = Data(args.mnist, args.hands, args.paths, args.fonts)
    bank, weights, counts = load_bank(data, "train", args.drawn, args.seed, device, args.most)
    print(f"{counts} glyphs on {device} in {time.perf_counter() - started:.0f} s", flush=True)
    choice = patches.choices(bank, weights)
    photos, share = None, 0.0
    if args.photos is not None:
        photos, share = PhotoSource(photo_boxes.load(args.photos), device), args.photo_share
        counts["photo_boxes"] = len(photos)
    about: dict[str, object] = {
        "seed": args.seed,
        "device": torch.cuda.get_device_name() if device.type == "cuda" else "CPU",
        "torch": str(torch.__version__),
        "batch": batch,
        "glyphs": counts,
        "photo_share": share,
    }
    teachers = [load_teacher(file, device) for file in args.taught_by]
    teach_steps = 0
    if args.go_on:
        args.teachers, new, lr = len(teachers), teachers, 1e-3
        teachers = []
    else:
        new, lr = [network.Teacher(width=args.teacher_width).to(device) for _ in range(args.teachers)], 2e-3
    if args.teachers:
        source = Source(patches.Dice(device, args.seed), bank, choice, batch, 2, photos, share)
        for model in new:
            model.train().requires_grad_(True)
        trained, teach_steps = train(
            new, source, Length(args.teach_steps, args.teach_minutes), lr, "teachers"
        )
        for k, teacher in enumerate(trained):
            save(teacher, "teacher", {**about, "steps": teach_steps}, args.out / f"teacher{k}.pt")
        teachers += trained
    if not args.plans:
        return
    source = Source(
        patches.Dice(device, args.seed + 1), bank, choice, batch, args.uses, photos, share, teachers=teachers
    )
    readers: list[nn.Module] = [
        _begun(plan, args.start_from, source).to(device).requires_grad_(True) for plan in args.plans
    ]
    readers, steps = train(readers, source, Length(args.steps, args.minutes), args.rate, "readers")
    about |= {
        "uses": args.uses,
        "steps": steps,
        "teachers": len(teachers),
        "teach_steps": teach_steps,
        "started_from": args.start_from.name if args.start_from else None,
        "minutes": round((time.perf_counter() - started) / 60, 2),
    }
    for plan, reader in zip(args.plans, readers, strict=True):
        save(reader, "reader", {**about, "plan": plan}, args.out / f"reader-{plan}.pt")


if __name__ == "__main__":
    main()
