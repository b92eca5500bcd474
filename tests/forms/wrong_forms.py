"""A right form, and a hundred ways to get it wrong: what to change, and what the refusal must say."""

from __future__ import annotations

RIGHT = """name = "own"
edition = 1
title = "Own card"
record = "sheet"
statement = "One sentence."
help = ["Fill the bubble."]
language = "en"

[words]
add-up = "Count"

[[head]]
id = "player"
type = "words"
label = "Player"
line = 2

[[head]]
id = "wind"
type = "choose-one"
label = "Wind"
default = "calm"
line = 3
options = [
    { id = "calm", label = "calm" },
    { id = "strong", label = "strong", shape = "square" },
]

[rows]
prefix = "r"
count = 6
group = 3
labels = ["one", "two", "three", "four", "five", "six"]

[[rows.left]]
id = "made"
type = "number"
digits = 2
label = "made"
gap_mm = 2.0
box_mm = 5.8
stud = true

[[rows.left]]
id = "way"
type = "choose-many"
label = "way"
arrange = "cross"
options = [{ id = "left", label = "left" }, { id = "right", label = "right" },
    { id = "long", label = "long" }, { id = "short", label = "short" }]

[[rows.right]]
id = "note"
type = "words"
label = "note"
gap_mm = 3.0

[[right-head]]
id = "which"
type = "choose-one"
label = "Which"
options = [{ id = "first", label = "first" }]

[[foot]]
id = "total"
type = "number"
digits = 3
label = "total"

[[foot-right]]
id = "resolve"
type = "words"
label = "Next time"

[[causes]]
number = 1
id = "early"
label = "early"

[[causes]]
number = 2
id = "late"
label = "late"
"""

#: (what stands in the right form, what stands there instead, what the refusal says). The line that must be
#: named is the first that differs, or the first with the text that stands last (empty: the whole form).
WRONG: list[tuple[str, str, str] | tuple[str, str, str, str]] = [
    # a key that is none, near to one that is
    ('name = "own"', 'nmae = "own"', "Did you mean 'name'?"),
    ("edition = 1", "editon = 1", "Did you mean 'edition'?"),
    ('title = "Own card"', 'titel = "Own card"', "Did you mean 'title'?"),
    ('record = "sheet"', 'recrod = "sheet"', "Did you mean 'record'?"),
    ("statement =", "statment =", "Did you mean 'statement'?"),
    ("help =", "hlep =", "Did you mean 'help'?"),
    ("language =", "langauge =", "Did you mean 'language'?"),
    ("[words]", "[word]", "Did you mean 'words'?"),
    ("add-up =", "addup =", "Did you mean 'add-up'?"),
    ('[[head]]\nid = "player"', '[[haed]]\nid = "player"', "Did you mean 'head'?"),
    ('type = "words"\nlabel = "Player"', 'tpye = "words"\nlabel = "Player"', "Did you mean 'type'?"),
    ('label = "Player"', 'lable = "Player"', "Did you mean 'label'?"),
    ("line = 2", "lines = 2", "Did you mean 'line'?"),
    ('default = "calm"', 'defalut = "calm"', "Did you mean 'default'?"),
    ("options = [\n", "option = [\n", "Did you mean 'options'?"),
    ('{ id = "calm", label = "calm" }', '{ id = "calm", labl = "calm" }', "Did you mean 'label'?"),
    ('shape = "square"', 'shap = "square"', "Did you mean 'shape'?"),
    ('prefix = "r"', 'perfix = "r"', "Did you mean 'prefix'?"),
    ("count = 6", "cuont = 6", "Did you mean 'count'?"),
    ("group = 3", "gruop = 3", "Did you mean 'group'?"),
    ("labels = [", "lables = [", "Did you mean 'labels'?"),
    ('[[rows.left]]\nid = "made"', '[[rows.lefft]]\nid = "made"', "Did you mean 'left'?"),
    ("digits = 2", "digit = 2", "Did you mean 'digits'?"),
    ("gap_mm = 2.0", "gap = 2.0", "Did you mean 'gap_mm'?"),
    ("box_mm = 5.8", "box-mm = 5.8", "Did you mean 'box_mm'?"),
    ("stud = true", "studs = true", "Did you mean 'stud'?"),
    ('arrange = "cross"', 'arange = "cross"', "Did you mean 'arrange'?"),
    ("[[right-head]]", "[[right_head]]", "Did you mean 'right-head'?"),
    ("[[foot]]", "[[fot]]", "Did you mean 'foot'?"),
    ("[[foot-right]]", "[[foot_right]]", "Did you mean 'foot-right'?"),
    ("[[causes]]\nnumber = 2", "[[cause]]\nnumber = 2", "Did you mean 'causes'?"),
    ("number = 2", "nubmer = 2", "Did you mean 'number'?"),
    # a key that is none, or belongs elsewhere
    ('statement = "One sentence."', 'colour = "red"', "Known are name,"),
    ("line = 2", "weight = 2", "Known are id,"),
    ('statement = "One sentence."', "count = 6", "It belongs into a rows."),
    ('statement = "One sentence."', "digits = 2", "It belongs into a field."),
    ("group = 3", 'title = "x"', "It belongs to the top of the file."),
    # what must stand there and does not
    ('name = "own"\n', "", "expected a 'name', found none", ""),
    ('title = "Own card"\n', "", "expected a 'title', found none", ""),
    ("count = 6\n", "", "expected a 'count', found none", "[rows]"),
    ('id = "player"\n', "", "expected a 'id', found none", "[[head]]"),
    ('type = "words"\nlabel = "Player"', 'label = "Player"', "expected a 'type', found none", "[[head]]"),
    ('{ id = "calm", label = "calm" }', '{ id = "calm" }', "expected a 'label', found none"),
    ('{ id = "first", label = "first" }', '{ label = "first" }', "expected a 'id', found none"),
    ("number = 1\n", "", "expected a 'number', found none", "[[causes]]"),
    ('id = "early"\n', "", "expected a 'id', found none", "[[causes]]"),
    ('label = "early"\n', "", "expected a 'label', found none", "[[causes]]"),
    ('options = [{ id = "first", label = "first" }]\n', "", "a choice needs options", "[[right-head]]"),
    (
        'options = [{ id = "first", label = "first" }]',
        "options = []",
        "a choice needs options",
        "[[right-head]]",
    ),
    # the wrong type
    ('name = "own"', "name = 3", "Put it in quotes."),
    ('name = "own"', 'name = ""', "not empty"),
    ('name = "own"', "name = ['own']", "expected a text"),
    ("edition = 1", 'edition = "1"', "Write the number without quotes."),
    ("edition = 1", "edition = 1.5", "a whole number from 1 to 9999"),
    ("edition = 1", "edition = 0", "a whole number from 1 to 9999"),
    ("edition = 1", "edition = true", "a whole number from 1 to 9999"),
    ('title = "Own card"', "title = 2026-05-31", "expected a text"),
    ('record = "sheet"', 'record = "sheets"', "Did you mean 'sheet'?"),
    ('record = "sheet"', 'record = "game"', "one of round, practice, sheet"),
    ('record = "sheet"', "record = []", "one of round, practice, sheet"),
    ('help = ["Fill the bubble."]', 'help = "Fill the bubble."', "a list of at most 3 texts"),
    ('help = ["Fill the bubble."]', 'help = ["a", "b", "c", "d"]', "a list of at most 3 texts"),
    ('help = ["Fill the bubble."]', "help = [1]", "a list of at most 3 texts"),
    ("language =", "language = 1 #", "Put it in quotes."),
    ('add-up = "Count"', "add-up = 5", "Put it in quotes."),
    ('id = "player"', 'id = "the player"', "Leave out spaces and other signs."),
    ('id = "player"', "id = 7", "Put it in quotes."),
    ('id = "player"', 'id = ""', "letters, digits"),
    ('id = "player"', f'id = "{"x" * 41}"', "at most 40 signs"),
    ('id = "player"', 'id = "date..day"', "parts joined by dots"),
    ('type = "words"\nlabel = "Player"', 'type = "word"\nlabel = "Player"', "Did you mean 'words'?"),
    ('type = "words"\nlabel = "Player"', 'type = "text"\nlabel = "Player"', "one of choose-one,"),
    (
        'type = "choose-one"\nlabel = "Wind"',
        'type = "chose-one"\nlabel = "Wind"',
        "Did you mean 'choose-one'?",
    ),
    (
        'type = "choose-one"\nlabel = "Wind"',
        'type = "Choose-One"\nlabel = "Wind"',
        "Did you mean 'choose-one'?",
    ),
    ('label = "Player"', "label = 5", "Put it in quotes."),
    ('label = "Player"', f'label = "{"x" * 301}"', "at most 300 signs"),
    ("line = 2", "line = 10", "a whole number from 1 to 9"),
    ("line = 2", 'line = "2"', "Write the number without quotes."),
    ("options = [\n", "options = [5,\n", "expected a list of tables"),
    ('{ id = "calm", label = "calm" }', '{ id = "cal m", label = "calm" }', "Leave out spaces"),
    ('shape = "square"', 'shape = "sqare"', "Did you mean 'square'?"),
    ("count = 6", "count = 61", "a whole number from 0 to 60"),
    ("count = 6", "count = -1", "a whole number from 0 to 60"),
    ("group = 3", "group = 0", "a whole number from 1 to 60"),
    ('prefix = "r"', 'prefix = "r1"', "expected"),
    ("digits = 2", "digits = 7", "a whole number from 1 to 6"),
    ("digits = 2", "digits = 0", "a whole number from 1 to 6"),
    ("gap_mm = 2.0", 'gap_mm = "2"', "Write the number without quotes."),
    ("gap_mm = 2.0", "gap_mm = -2", "millimetres from 0 to 300"),
    ("gap_mm = 2.0", "gap_mm = nan", "millimetres from 0 to 300"),
    ("box_mm = 5.8", "box_mm = 1", "millimetres from 4 to 20"),
    ("stud = true", 'stud = "true"', "Write it without quotes."),
    ("stud = true", "stud = 1", "expected true or false"),
    ('arrange = "cross"', 'arrange = "row"', "one of stack, line, cross"),
    ("number = 2", "number = 10", "a whole number from 0 to 9"),
    ('[rows]\nprefix = "r"', '[[rows]]\nprefix = "r"', "expected"),
    # what does not go together
    ('id = "wind"', 'id = "player"', "stands twice"),
    ('id = "total"', 'id = "wind"', "stands twice"),
    ('id = "way"', 'id = "made"', "stands twice"),
    ('id = "total"', 'id = "r02.made"', "in a row"),
    ('{ id = "strong", label', '{ id = "calm", label', "an id of its own for each option"),
    ('default = "calm"', 'default = "clam"', "Did you mean 'calm'?"),
    ('default = "calm"', 'default = "storm"', "one of the options (calm, strong)"),
    (
        'arrange = "cross"\noptions = [{ id = "left", label = "left" }, ',
        'arrange = "cross"\noptions = [',
        "four options",
        'arrange = "cross"',
    ),
    ('default = "calm"', 'arrange = "stack"', "bubbles in a line outside the rows"),
    ('label = "Player"\n', 'label = "Player"\ndigits = 2\n', "only with number"),
    ('label = "Player"\n', 'label = "Player"\ngap_mm = 2\n', "only in [[rows.left]] or [[rows.right]]"),
    ('label = "Player"\n', 'label = "Player"\nstud = true\n', "only in [[rows.left]]"),
    ("digits = 2\n", 'digits = 2\noptions = [{ id = "a", label = "a" }]\n', "only with choose-one"),
    ("digits = 2\n", "digits = 2\nline = 1\n", "only in [[head]]"),
    ("digits = 2\n", "digits = 2\nwidth_mm = 10\n", "only with words"),
    (
        'type = "words"\nlabel = "Next time"',
        'type = "number"\nlabel = "Next time"',
        "Move the field to [[foot]]",
    ),
    ("number = 2", "number = 1", "a number of its own"),
    ('id = "late"', 'id = "early"', "a id of its own"),
    ('"five", "six"]', '"five"]', "a label for each of the 6 rows"),
    ("count = 6", "count = 0", "Raise it."),
    ("[[rows.right]]", "[[rows.left]]", "Move them to [[head]]", "[[right-head]]"),
]
