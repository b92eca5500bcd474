BEGIN TRANSACTION;
CREATE TABLE answers (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	serial VARCHAR(64) NOT NULL, 
	field VARCHAR(100) NOT NULL, 
	value TEXT NOT NULL, 
	over TEXT NOT NULL, 
	who VARCHAR(500) NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	CONSTRAINT fk_answers_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
CREATE TABLE aside (
	serial VARCHAR(64) NOT NULL, 
	player VARCHAR(500), 
	kept BOOLEAN NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	says TEXT NOT NULL, 
	rows TEXT NOT NULL, 
	CONSTRAINT pk_aside PRIMARY KEY (serial)
);
INSERT INTO "aside" VALUES('WXYZ2345','Wren',1,'2026-06-14T18:00:00Z','2026-06-14, 1 holes, score 4','{"cards": [{"serial": "WXYZ2345", "form": "round9", "player": "Wren", "waiting": "", "glance": "", "speaks": null}], "readings": [{"photo": "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb", "serial": "WXYZ2345", "flags": 0, "recorded_at": "2026-06-14T18:00:00Z", "text": "{\"source\":\"b.jpg\",\"status\":\"read\",\"reason\":null,\"serial\":\"WXYZ2345\",\"form\":null,\"fingerprint\":\"round9\",\"quality\":{},\"cells\":{},\"fields\":{\"hand\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"player\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"course\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"date.day\":{\"value\":14,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"date.month\":{\"value\":6,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"date.year\":{\"value\":26,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"wind\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.par\":{\"value\":3,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.score\":{\"value\":4,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.penalty\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.drive\":{\"value\":\"miss\",\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.approach1\":{\"value\":\"clean\",\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.approach2\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.putt1\":{\"value\":\"clean\",\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.putt1.distance\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.putt1.stance\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.putt2\":{\"value\":\"clean\",\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.putt2.distance\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.putt3\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.way\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.forehand\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.why\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"h01.words\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"worst\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"tally.drive\":{\"value\":1,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"tally.approach\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"tally.putt\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"total\":{\"value\":4,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"resolve\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"notes.good\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null},\"notes.again\":{\"value\":null,\"p\":0.999,\"flag\":null,\"source\":\"read\",\"rule\":null,\"alternatives\":[],\"ask\":null}},\"together\":[],\"findings\":[]}", "evidence": null}], "answers": [], "pictures": [], "hand_boxes": [], "rounds": [{"id": "WXYZ2345", "origin": "card", "form": "round9", "played_on": "2026-06-14", "player": "Wren", "course": null, "layout": null, "unit": "m", "holes": 1, "holes_scored": 1, "score": 4, "par_scored": 3, "misses_drive": 1, "misses_approach": 0, "misses_putt": 0, "waits": 0, "recorded_at": "2026-06-14T18:00:00Z", "record": "{\"form\":\"round9\",\"hand\":{\"source\":\"printed\",\"value\":\"right\"},\"holes\":[{\"number\":1,\"par\":{\"p\":0.999,\"source\":\"read\",\"value\":3},\"penalty\":{\"p\":0.999,\"source\":\"read\",\"value\":0},\"score\":{\"p\":0.999,\"source\":\"read\",\"value\":4},\"throws\":[{\"execution\":{\"p\":0.999,\"source\":\"read\",\"value\":\"miss\"},\"holed\":false,\"order\":1,\"phase\":\"drive\"},{\"execution\":{\"p\":0.999,\"source\":\"read\",\"value\":\"clean\"},\"holed\":false,\"order\":2,\"phase\":\"approach\"},{\"distance\":{\"p\":0.999,\"source\":\"read\",\"value\":null},\"execution\":{\"p\":0.999,\"source\":\"read\",\"value\":\"clean\"},\"holed\":false,\"order\":3,\"phase\":\"putt\",\"stance\":{\"p\":0.999,\"source\":\"read\",\"value\":null}},{\"distance\":{\"p\":0.999,\"source\":\"read\",\"value\":null},\"execution\":{\"p\":0.999,\"source\":\"read\",\"value\":\"clean\"},\"holed\":true,\"order\":4,\"phase\":\"putt\"}]}],\"id\":\"WXYZ2345\",\"played_on\":{\"p\":0.999,\"source\":\"read\",\"value\":\"2026-06-14\"},\"player\":\"Wren\",\"recorded_at\":\"2026-06-14T18:00:00Z\",\"schema\":1,\"sources\":[\"bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb\"],\"tallies\":{\"approach\":{\"p\":0.999,\"source\":\"read\",\"value\":null},\"drive\":{\"p\":0.999,\"source\":\"read\",\"value\":1},\"putt\":{\"p\":0.999,\"source\":\"read\",\"value\":null}},\"total\":{\"p\":0.999,\"source\":\"read\",\"value\":4},\"unit\":\"m\",\"wind\":{\"p\":0.999,\"source\":\"read\",\"value\":null},\"worst\":{\"rule\":\"most-misses\",\"source\":\"inferred\",\"value\":\"drive\"}}"}], "holes": [{"round": "WXYZ2345", "hole": 1, "score": 4, "penalty": 0, "par": 3, "length_m": null}], "throws": [{"round": "WXYZ2345", "hole": 1, "throw": 1, "phase": "drive", "execution": "miss", "holed": false, "distance_m": null, "stance": null, "direction": null, "forehand": null, "cause": null, "words": null}, {"round": "WXYZ2345", "hole": 1, "throw": 2, "phase": "approach", "execution": "clean", "holed": false, "distance_m": null, "stance": null, "direction": null, "forehand": null, "cause": null, "words": null}, {"round": "WXYZ2345", "hole": 1, "throw": 3, "phase": "putt", "execution": "clean", "holed": false, "distance_m": null, "stance": null, "direction": null, "forehand": null, "cause": null, "words": null}, {"round": "WXYZ2345", "hole": 1, "throw": 4, "phase": "putt", "execution": "clean", "holed": true, "distance_m": null, "stance": null, "direction": null, "forehand": null, "cause": null, "words": null}], "practice": [], "photos": [{"sha256": "bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb", "status": "read", "reason": null, "whole": true}]}');
CREATE TABLE asking (
	player VARCHAR(500) NOT NULL, 
	how VARCHAR(12) NOT NULL, 
	CONSTRAINT pk_asking PRIMARY KEY (player), 
	CONSTRAINT ck_asking_how CHECK (how = 'everything' OR how = 'little')
);
CREATE TABLE cards (
	serial VARCHAR(64) NOT NULL, 
	form VARCHAR(100) NOT NULL, 
	player VARCHAR(500), 
	waiting TEXT NOT NULL, 
	glance TEXT DEFAULT '' NOT NULL, 
	speaks TEXT, 
	CONSTRAINT pk_cards PRIMARY KEY (serial), 
	CONSTRAINT fk_cards_form FOREIGN KEY(form) REFERENCES forms (fingerprint)
);
INSERT INTO "cards" VALUES('ABCD2345','round9','Wren','','',NULL);
INSERT INTO "cards" VALUES('8JSHR4Z5','four-phases','Wren','','',NULL);
CREATE TABLE forms (
	fingerprint VARCHAR(100) NOT NULL, 
	text TEXT NOT NULL, 
	CONSTRAINT pk_forms PRIMARY KEY (fingerprint)
);
INSERT INTO "forms" VALUES('round9','{
 "schema": 1,
 "form": "round9",
 "fingerprint": "XWTUYE",
 "name": "round9",
 "edition": 2,
 "layout_edition": 2,
 "title": "Round card, 9 holes",
 "record": "round",
 "statement": "Clean: it left my hand with the direction, height, tilt and speed I meant. Where it ended up does not count.",
 "unit": "m",
 "hand": "right",
 "page": {
  "name": "a4",
  "width_mm": 210.0,
  "height_mm": 297.0
 },
 "rows": {
  "prefix": "h",
  "count": 1,
  "group": 3,
  "numbers": [
   1
  ]
 },
 "course": null,
 "causes": [
  {
   "number": 1,
   "id": "early",
   "label": "released early"
  },
  {
   "number": 2,
   "id": "late",
   "label": "released late, grip held"
  },
  {
   "number": 3,
   "id": "nose",
   "label": "nose angle or height"
  },
  {
   "number": 4,
   "id": "tilt",
   "label": "tilt: hyzer, flat, anhyzer"
  },
  {
   "number": 5,
   "id": "wobble",
   "label": "wobble, off axis"
  },
  {
   "number": 6,
   "id": "pace",
   "label": "too hard or too soft"
  },
  {
   "number": 7,
   "id": "rushed",
   "label": "rushed, no routine"
  },
  {
   "number": 8,
   "id": "balance",
   "label": "balance or footing"
  },
  {
   "number": 9,
   "id": "choice",
   "label": "choice: line or disc"
  },
  {
   "number": 0,
   "id": "other",
   "label": "other, don''t know"
  }
 ],
 "fields": {
  "hand": {
   "type": "choose-one",
   "label": "Hand",
   "options": [
    {
     "id": "right",
     "label": "right",
     "shape": "round"
    },
    {
     "id": "left",
     "label": "left",
     "shape": "round"
    }
   ]
  },
  "player": {
   "type": "words",
   "label": "Player"
  },
  "course": {
   "type": "words",
   "label": "Course"
  },
  "date.day": {
   "type": "number",
   "label": "day",
   "digits": 2
  },
  "date.month": {
   "type": "number",
   "label": "month",
   "digits": 2
  },
  "date.year": {
   "type": "number",
   "label": "year 20",
   "digits": 2
  },
  "wind": {
   "type": "choose-one",
   "label": "Wind",
   "options": [
    {
     "id": "calm",
     "label": "calm",
     "shape": "round"
    },
    {
     "id": "breeze",
     "label": "breeze",
     "shape": "round"
    },
    {
     "id": "strong",
     "label": "strong",
     "shape": "round"
    }
   ]
  },
  "h01.par": {
   "type": "number",
   "label": "par",
   "digits": 1,
   "row": 1
  },
  "h01.score": {
   "type": "number",
   "label": "score",
   "digits": 2,
   "row": 1
  },
  "h01.penalty": {
   "type": "choose-one",
   "label": "pen.|",
   "options": [
    {
     "id": "1",
     "label": "1",
     "shape": "round"
    },
    {
     "id": "2",
     "label": "2",
     "shape": "round"
    }
   ],
   "row": 1
  },
  "h01.drive": {
   "type": "choose-one",
   "label": "drive",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.approach1": {
   "type": "choose-one",
   "label": "approach|1",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.approach2": {
   "type": "choose-one",
   "label": "approach|2",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.putt1": {
   "type": "choose-one",
   "label": "putt 1|",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.putt1.distance": {
   "type": "number",
   "label": "putt 1|{unit}",
   "digits": 2,
   "row": 1
  },
  "h01.putt1.stance": {
   "type": "choose-one",
   "label": "putt 1|str.",
   "options": [
    {
     "id": "straddle",
     "label": "str.",
     "shape": "round"
    }
   ],
   "row": 1
  },
  "h01.putt2": {
   "type": "choose-one",
   "label": "putt 2|",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.putt2.distance": {
   "type": "number",
   "label": "putt 2|{unit}",
   "digits": 2,
   "row": 1
  },
  "h01.putt3": {
   "type": "choose-one",
   "label": "putt 3|",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.way": {
   "type": "choose-many",
   "label": "which way",
   "options": [
    {
     "id": "left",
     "label": "left",
     "shape": "round"
    },
    {
     "id": "right",
     "label": "right",
     "shape": "round"
    },
    {
     "id": "long",
     "label": "long",
     "shape": "round"
    },
    {
     "id": "short",
     "label": "short",
     "shape": "round"
    }
   ],
   "row": 1
  },
  "h01.forehand": {
   "type": "choose-one",
   "label": "fore-|hand",
   "options": [
    {
     "id": "yes",
     "label": "forehand",
     "shape": "round"
    }
   ],
   "row": 1
  },
  "h01.why": {
   "type": "number",
   "label": "why",
   "digits": 1,
   "row": 1
  },
  "h01.words": {
   "type": "words",
   "label": "in my words",
   "row": 1
  },
  "worst": {
   "type": "choose-one",
   "label": "The phase with most misses",
   "options": [
    {
     "id": "drive",
     "label": "drive",
     "shape": "round"
    },
    {
     "id": "approach",
     "label": "approach",
     "shape": "round"
    },
    {
     "id": "putt",
     "label": "putt",
     "shape": "round"
    }
   ]
  },
  "tally.drive": {
   "type": "number",
   "label": "drive",
   "digits": 2
  },
  "tally.approach": {
   "type": "number",
   "label": "approach",
   "digits": 2
  },
  "tally.putt": {
   "type": "number",
   "label": "putt",
   "digits": 2
  },
  "total": {
   "type": "number",
   "label": "total score",
   "digits": 3
  },
  "resolve": {
   "type": "words",
   "label": "One thing to work on"
  },
  "notes.good": {
   "type": "words",
   "label": "What went as planned, and what I did for it"
  },
  "notes.again": {
   "type": "words",
   "label": "What repeats"
  }
 },
 "cells": [
  {
   "id": "hand.right",
   "field": "hand",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    114.68,
    13.9,
    3.4,
    3.4
   ]
  },
  {
   "id": "hand.left",
   "field": "hand",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    129.18,
    13.9,
    3.4,
    3.4
   ]
  },
  {
   "id": "player.strip",
   "field": "player",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    35.52,
    21.2,
    67.48,
    7.6
   ]
  },
  {
   "id": "course.strip",
   "field": "course",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    117.92,
    21.2,
    40.98,
    7.6
   ]
  },
  {
   "id": "date.day.1",
   "field": "date.day",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    40.38,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.day.2",
   "field": "date.day",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    46.58,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.month.1",
   "field": "date.month",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    63.48,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.month.2",
   "field": "date.month",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    69.68,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.year.1",
   "field": "date.year",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    89.82,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.year.2",
   "field": "date.year",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    96.02,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "wind.calm",
   "field": "wind",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    114.68,
    32.7,
    3.4,
    3.4
   ]
  },
  {
   "id": "wind.breeze",
   "field": "wind",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    127.56,
    32.7,
    3.4,
    3.4
   ]
  },
  {
   "id": "wind.strong",
   "field": "wind",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    143.68,
    32.7,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.par.1",
   "field": "h01.par",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    18.6,
    61.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.score.1",
   "field": "h01.score",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    24.8,
    61.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.score.2",
   "field": "h01.score",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    31.0,
    61.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.penalty.1",
   "field": "h01.penalty",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    38.2,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.penalty.2",
   "field": "h01.penalty",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    38.2,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.drive.clean",
   "field": "h01.drive",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    43.8,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.drive.miss",
   "field": "h01.drive",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    43.8,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.approach1.clean",
   "field": "h01.approach1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    49.2,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.approach1.miss",
   "field": "h01.approach1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    49.2,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.approach2.clean",
   "field": "h01.approach2",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    54.6,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.approach2.miss",
   "field": "h01.approach2",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    54.6,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt1.clean",
   "field": "h01.putt1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    60.6,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt1.miss",
   "field": "h01.putt1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    60.6,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt1.distance.1",
   "field": "h01.putt1.distance",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    65.4,
    61.0,
    5.8,
    7.0
   ]
  },
  {
   "id": "h01.putt1.distance.2",
   "field": "h01.putt1.distance",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    72.4,
    61.0,
    5.8,
    7.0
   ]
  },
  {
   "id": "h01.putt1.stance.straddle",
   "field": "h01.putt1.stance",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    79.6,
    62.8,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt2.clean",
   "field": "h01.putt2",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    85.2,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt2.miss",
   "field": "h01.putt2",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    85.2,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt2.distance.1",
   "field": "h01.putt2.distance",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    90.0,
    61.0,
    5.8,
    7.0
   ]
  },
  {
   "id": "h01.putt2.distance.2",
   "field": "h01.putt2.distance",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    97.0,
    61.0,
    5.8,
    7.0
   ]
  },
  {
   "id": "h01.putt3.clean",
   "field": "h01.putt3",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    107.0,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt3.miss",
   "field": "h01.putt3",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    107.0,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.way.left",
   "field": "h01.way",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    121.2,
    62.8,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.way.right",
   "field": "h01.way",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    129.8,
    62.8,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.way.long",
   "field": "h01.way",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    125.5,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.way.short",
   "field": "h01.way",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    125.5,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.forehand.yes",
   "field": "h01.forehand",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    136.0,
    62.8,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.why.1",
   "field": "h01.why",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    142.0,
    61.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.words.strip",
   "field": "h01.words",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    149.6,
    60.7,
    47.8,
    7.6
   ]
  },
  {
   "id": "worst.drive",
   "field": "worst",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    115.8,
    45.7,
    3.4,
    3.4
   ]
  },
  {
   "id": "worst.approach",
   "field": "worst",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    130.3,
    45.7,
    3.4,
    3.4
   ]
  },
  {
   "id": "worst.putt",
   "field": "worst",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    149.66,
    45.7,
    3.4,
    3.4
   ]
  },
  {
   "id": "tally.drive.1",
   "field": "tally.drive",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    13.6,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.drive.2",
   "field": "tally.drive",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    19.8,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.approach.1",
   "field": "tally.approach",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    28.8,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.approach.2",
   "field": "tally.approach",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    35.0,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.putt.1",
   "field": "tally.putt",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    45.76,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.putt.2",
   "field": "tally.putt",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    51.96,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "total.1",
   "field": "total",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    60.96,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "total.2",
   "field": "total",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    67.16,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "total.3",
   "field": "total",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    73.36,
    257.8,
    5.0,
    7.0
   ]
  },
  {
   "id": "resolve.strip",
   "field": "resolve",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    115.8,
    278.8,
    69.2,
    7.6
   ]
  },
  {
   "id": "notes.good.strip",
   "field": "notes.good",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    12.6,
    155.5,
    89.4,
    92.6
   ]
  },
  {
   "id": "notes.again.strip",
   "field": "notes.again",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    108.0,
    155.5,
    89.4,
    92.6
   ]
  }
 ],
 "fiducials": [
  {
   "id": 3,
   "box_mm": [
    10.0,
    10.0,
    12.0,
    12.0
   ]
  },
  {
   "id": 5,
   "box_mm": [
    188.0,
    10.0,
    12.0,
    12.0
   ]
  },
  {
   "id": 31,
   "box_mm": [
    188.0,
    275.0,
    12.0,
    12.0
   ]
  },
  {
   "id": 25,
   "box_mm": [
    10.0,
    275.0,
    12.0,
    12.0
   ]
  }
 ],
 "studs": [
  [
   10.8,
   59.0
  ],
  [
   59.3,
   59.0
  ],
  [
   112.6,
   59.0
  ],
  [
   148.3,
   59.0
  ],
  [
   199.2,
   59.0
  ],
  [
   10.8,
   70.0
  ],
  [
   59.3,
   70.0
  ],
  [
   112.6,
   70.0
  ],
  [
   148.3,
   70.0
  ],
  [
   199.2,
   70.0
  ]
 ],
 "qr": {
  "box_mm": [
   159.9,
   8.0,
   26.1,
   26.1
  ]
 },
 "plain_code": {
  "box_mm": [
   157.4,
   34.5,
   31.1,
   4.4
  ]
 }
}');
INSERT INTO "forms" VALUES('four-phases','{
 "schema": 1,
 "form": "four-phases",
 "fingerprint": "DG9VN9",
 "name": "four-phases",
 "edition": 1,
 "layout_edition": 2,
 "title": "Nine holes, four phases",
 "record": "round",
 "statement": "Clean: it left my hand with the direction, height, tilt and speed I meant. Where it ended up does not count.",
 "unit": "m",
 "hand": "right",
 "page": {
  "name": "a4",
  "width_mm": 210.0,
  "height_mm": 297.0
 },
 "rows": {
  "prefix": "h",
  "count": 2,
  "group": 2,
  "numbers": [
   1,
   2
  ]
 },
 "course": null,
 "phases": [
  {
   "id": "drive",
   "label": "drive",
   "role": "tee",
   "columns": [
    "drive"
   ]
  },
  {
   "id": "fairway",
   "label": "fairway",
   "role": "between",
   "columns": [
    "fairway1",
    "fairway2"
   ]
  },
  {
   "id": "upshot",
   "label": "upshot",
   "role": "between",
   "columns": [
    "upshot1"
   ]
  },
  {
   "id": "putt",
   "label": "putt",
   "role": "target",
   "columns": [
    "putt1",
    "putt2"
   ]
  }
 ],
 "causes": [],
 "fields": {
  "player": {
   "type": "words",
   "label": "Player"
  },
  "date.day": {
   "type": "number",
   "label": "day",
   "digits": 2
  },
  "date.month": {
   "type": "number",
   "label": "month",
   "digits": 2
  },
  "date.year": {
   "type": "number",
   "label": "year 20",
   "digits": 2
  },
  "h01.score": {
   "type": "number",
   "label": "score",
   "digits": 2,
   "row": 1
  },
  "h01.drive": {
   "type": "choose-one",
   "label": "drive",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.fairway1": {
   "type": "choose-one",
   "label": "fairway|1",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.fairway2": {
   "type": "choose-one",
   "label": "fairway|2",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.upshot1": {
   "type": "choose-one",
   "label": "upshot",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.putt1": {
   "type": "choose-one",
   "label": "putt|1",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h01.putt2": {
   "type": "choose-one",
   "label": "putt|2",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 1
  },
  "h02.score": {
   "type": "number",
   "label": "score",
   "digits": 2,
   "row": 2
  },
  "h02.drive": {
   "type": "choose-one",
   "label": "drive",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 2
  },
  "h02.fairway1": {
   "type": "choose-one",
   "label": "fairway|1",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 2
  },
  "h02.fairway2": {
   "type": "choose-one",
   "label": "fairway|2",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 2
  },
  "h02.upshot1": {
   "type": "choose-one",
   "label": "upshot",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 2
  },
  "h02.putt1": {
   "type": "choose-one",
   "label": "putt|1",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 2
  },
  "h02.putt2": {
   "type": "choose-one",
   "label": "putt|2",
   "options": [
    {
     "id": "clean",
     "label": "clean",
     "shape": "round"
    },
    {
     "id": "miss",
     "label": "miss",
     "shape": "square"
    }
   ],
   "row": 2
  },
  "tally.drive": {
   "type": "number",
   "label": "drive",
   "digits": 2
  },
  "tally.fairway": {
   "type": "number",
   "label": "fairway",
   "digits": 2
  },
  "tally.upshot": {
   "type": "number",
   "label": "upshot",
   "digits": 2
  },
  "tally.putt": {
   "type": "number",
   "label": "putt",
   "digits": 2
  },
  "total": {
   "type": "number",
   "label": "total score",
   "digits": 3
  }
 },
 "cells": [
  {
   "id": "player.strip",
   "field": "player",
   "kind": "words",
   "shape": "strip",
   "page": 1,
   "box_mm": [
    35.52,
    21.2,
    67.48,
    7.6
   ]
  },
  {
   "id": "date.day.1",
   "field": "date.day",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    40.38,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.day.2",
   "field": "date.day",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    46.58,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.month.1",
   "field": "date.month",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    63.48,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.month.2",
   "field": "date.month",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    69.68,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.year.1",
   "field": "date.year",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    89.82,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "date.year.2",
   "field": "date.year",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    96.02,
    30.9,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.score.1",
   "field": "h01.score",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    20.2,
    61.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.score.2",
   "field": "h01.score",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    26.4,
    61.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h01.drive.clean",
   "field": "h01.drive",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    37.4,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.drive.miss",
   "field": "h01.drive",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    37.4,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.fairway1.clean",
   "field": "h01.fairway1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    48.8,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.fairway1.miss",
   "field": "h01.fairway1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    48.8,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.fairway2.clean",
   "field": "h01.fairway2",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    57.2,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.fairway2.miss",
   "field": "h01.fairway2",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    57.2,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.upshot1.clean",
   "field": "h01.upshot1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    68.6,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.upshot1.miss",
   "field": "h01.upshot1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    68.6,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt1.clean",
   "field": "h01.putt1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    80.0,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt1.miss",
   "field": "h01.putt1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    80.0,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt2.clean",
   "field": "h01.putt2",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    88.4,
    60.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h01.putt2.miss",
   "field": "h01.putt2",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    88.4,
    65.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.score.1",
   "field": "h02.score",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    20.2,
    72.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h02.score.2",
   "field": "h02.score",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    26.4,
    72.0,
    5.0,
    7.0
   ]
  },
  {
   "id": "h02.drive.clean",
   "field": "h02.drive",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    37.4,
    71.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.drive.miss",
   "field": "h02.drive",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    37.4,
    76.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.fairway1.clean",
   "field": "h02.fairway1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    48.8,
    71.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.fairway1.miss",
   "field": "h02.fairway1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    48.8,
    76.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.fairway2.clean",
   "field": "h02.fairway2",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    57.2,
    71.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.fairway2.miss",
   "field": "h02.fairway2",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    57.2,
    76.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.upshot1.clean",
   "field": "h02.upshot1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    68.6,
    71.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.upshot1.miss",
   "field": "h02.upshot1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    68.6,
    76.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.putt1.clean",
   "field": "h02.putt1",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    80.0,
    71.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.putt1.miss",
   "field": "h02.putt1",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    80.0,
    76.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.putt2.clean",
   "field": "h02.putt2",
   "kind": "bubble",
   "shape": "round",
   "page": 1,
   "box_mm": [
    88.4,
    71.215,
    3.4,
    3.4
   ]
  },
  {
   "id": "h02.putt2.miss",
   "field": "h02.putt2",
   "kind": "bubble",
   "shape": "square",
   "page": 1,
   "box_mm": [
    88.4,
    76.385,
    3.4,
    3.4
   ]
  },
  {
   "id": "tally.drive.1",
   "field": "tally.drive",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    13.6,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.drive.2",
   "field": "tally.drive",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    19.8,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.fairway.1",
   "field": "tally.fairway",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    28.8,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.fairway.2",
   "field": "tally.fairway",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    35.0,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.upshot.1",
   "field": "tally.upshot",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    44.14,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.upshot.2",
   "field": "tally.upshot",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    50.34,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.putt.1",
   "field": "tally.putt",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    59.34,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "tally.putt.2",
   "field": "tally.putt",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    65.54,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "total.1",
   "field": "total",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    74.54,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "total.2",
   "field": "total",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    80.74,
    90.7,
    5.0,
    7.0
   ]
  },
  {
   "id": "total.3",
   "field": "total",
   "kind": "digit",
   "shape": "box",
   "page": 1,
   "box_mm": [
    86.94,
    90.7,
    5.0,
    7.0
   ]
  }
 ],
 "fiducials": [
  {
   "id": 3,
   "box_mm": [
    10.0,
    10.0,
    12.0,
    12.0
   ]
  },
  {
   "id": 5,
   "box_mm": [
    188.0,
    10.0,
    12.0,
    12.0
   ]
  },
  {
   "id": 31,
   "box_mm": [
    188.0,
    275.0,
    12.0,
    12.0
   ]
  },
  {
   "id": 25,
   "box_mm": [
    10.0,
    275.0,
    12.0,
    12.0
   ]
  }
 ],
 "studs": [
  [
   10.8,
   59.0
  ],
  [
   34.4,
   59.0
  ],
  [
   64.6,
   59.0
  ],
  [
   199.2,
   59.0
  ],
  [
   10.8,
   81.0
  ],
  [
   34.4,
   81.0
  ],
  [
   64.6,
   81.0
  ],
  [
   199.2,
   81.0
  ]
 ],
 "qr": {
  "box_mm": [
   159.9,
   8.0,
   26.1,
   26.1
  ]
 },
 "plain_code": {
  "box_mm": [
   157.4,
   34.5,
   31.1,
   4.4
  ]
 }
}');
CREATE TABLE hand_boxes (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	player VARCHAR(500) NOT NULL, 
	serial VARCHAR(64) NOT NULL, 
	cell VARCHAR(100) NOT NULL, 
	"view" BLOB NOT NULL, 
	digit INTEGER, 
	"by" VARCHAR(8), 
	CONSTRAINT uq_hand_boxes_serial UNIQUE (serial, cell), 
	CONSTRAINT ck_hand_boxes_digit CHECK (digit BETWEEN 0 AND 9), 
	CONSTRAINT ck_hand_boxes_vouched CHECK ((digit IS NULL) = (by IS NULL)), 
	CONSTRAINT ck_hand_boxes_by CHECK (by = 'person' OR by = 'sums'), 
	CONSTRAINT fk_hand_boxes_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
CREATE TABLE hands_off (
	player VARCHAR(500) NOT NULL, 
	CONSTRAINT pk_hands_off PRIMARY KEY (player)
);
CREATE TABLE holes (
	round VARCHAR(64) NOT NULL, 
	hole INTEGER NOT NULL, 
	score INTEGER, 
	penalty INTEGER, 
	par INTEGER, 
	length_m FLOAT, 
	CONSTRAINT pk_holes PRIMARY KEY (round, hole), 
	CONSTRAINT ck_holes_hole CHECK (hole BETWEEN 1 AND 99), 
	CONSTRAINT ck_holes_score CHECK (score BETWEEN 0 AND 999), 
	CONSTRAINT ck_holes_penalty CHECK (penalty BETWEEN 0 AND 99), 
	CONSTRAINT ck_holes_par CHECK (par BETWEEN 0 AND 99), 
	CONSTRAINT ck_holes_length CHECK (length_m >= 0), 
	CONSTRAINT fk_holes_round FOREIGN KEY(round) REFERENCES rounds (id) ON DELETE CASCADE
);
INSERT INTO "holes" VALUES('ABCD2345',1,4,0,3,NULL);
CREATE TABLE photos (
	sha256 VARCHAR(64) NOT NULL, 
	status VARCHAR(8) NOT NULL, 
	reason TEXT, 
	whole BOOLEAN DEFAULT 1 NOT NULL, 
	CONSTRAINT pk_photos PRIMARY KEY (sha256), 
	CONSTRAINT ck_photos_sha256 CHECK (length(sha256) = 64), 
	CONSTRAINT ck_photos_status CHECK (status = 'read' OR status = 'rejected')
);
INSERT INTO "photos" VALUES('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','read',NULL,1);
INSERT INTO "photos" VALUES('bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb','read',NULL,1);
INSERT INTO "photos" VALUES('cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc','read',NULL,1);
CREATE TABLE pictures (
	serial VARCHAR(64) NOT NULL, 
	field VARCHAR(100) NOT NULL, 
	png BLOB NOT NULL, 
	CONSTRAINT pk_pictures PRIMARY KEY (serial, field), 
	CONSTRAINT fk_pictures_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
CREATE TABLE practice (
	card VARCHAR(64) NOT NULL, 
	place INTEGER NOT NULL, 
	day DATE, 
	player VARCHAR(500), 
	drill VARCHAR(500) NOT NULL, 
	tries INTEGER, 
	made INTEGER, 
	record TEXT NOT NULL, 
	CONSTRAINT pk_practice PRIMARY KEY (card, place), 
	CONSTRAINT ck_practice_place CHECK (place >= 1), 
	CONSTRAINT ck_practice_tries CHECK (tries >= 0), 
	CONSTRAINT ck_practice_made CHECK (made BETWEEN 0 AND tries)
);
CREATE TABLE readings (
	photo VARCHAR(64) NOT NULL, 
	serial VARCHAR(64) NOT NULL, 
	flags INTEGER NOT NULL, 
	recorded_at VARCHAR(32) NOT NULL, 
	text TEXT NOT NULL, 
	evidence BLOB, 
	CONSTRAINT pk_readings PRIMARY KEY (photo, serial), 
	CONSTRAINT ck_readings_flags CHECK (flags >= 0), 
	CONSTRAINT fk_readings_photo FOREIGN KEY(photo) REFERENCES photos (sha256), 
	CONSTRAINT fk_readings_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
INSERT INTO "readings" VALUES('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','ABCD2345',0,'2026-06-14T18:00:00Z','{"source":"a.jpg","status":"read","reason":null,"serial":"ABCD2345","form":null,"fingerprint":"round9","quality":{},"cells":{},"fields":{"hand":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"player":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"course":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"date.day":{"value":14,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"date.month":{"value":6,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"date.year":{"value":26,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"wind":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.par":{"value":3,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.score":{"value":4,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.penalty":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.drive":{"value":"miss","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.approach1":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.approach2":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt1":{"value":"miss","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt1.distance":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt1.stance":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt2":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt2.distance":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt3":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.way":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.forehand":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.why":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.words":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"worst":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.drive":{"value":1,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.approach":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.putt":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"total":{"value":4,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"resolve":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"notes.good":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"notes.again":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null}},"together":[],"findings":[]}',NULL);
INSERT INTO "readings" VALUES('cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc','8JSHR4Z5',0,'','{"source":"c.jpg","status":"read","reason":null,"serial":"8JSHR4Z5","form":null,"fingerprint":"four-phases","quality":{},"cells":{},"fields":{"player":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"date.day":{"value":14,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"date.month":{"value":6,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"date.year":{"value":26,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.score":{"value":5,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.drive":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.fairway1":{"value":"miss","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.fairway2":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.upshot1":{"value":"miss","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt1":{"value":"miss","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h01.putt2":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.score":{"value":3,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.drive":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.fairway1":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.fairway2":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.upshot1":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.putt1":{"value":"clean","p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"h02.putt2":{"value":null,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.drive":{"value":0,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.fairway":{"value":1,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.upshot":{"value":1,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"tally.putt":{"value":1,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null},"total":{"value":8,"p":0.999,"flag":null,"source":"read","rule":null,"alternatives":[],"ask":null}},"together":[],"findings":[]}',NULL);
CREATE TABLE rounds (
	id VARCHAR(64) NOT NULL, 
	origin VARCHAR(8) NOT NULL, 
	form VARCHAR(100) NOT NULL, 
	played_on DATE, 
	player VARCHAR(500), 
	course VARCHAR(500), 
	layout VARCHAR(500), 
	unit VARCHAR(2) NOT NULL, 
	holes INTEGER NOT NULL, 
	holes_scored INTEGER NOT NULL, 
	score INTEGER NOT NULL, 
	par_scored INTEGER, 
	misses_drive INTEGER NOT NULL, 
	misses_approach INTEGER NOT NULL, 
	misses_putt INTEGER NOT NULL, 
	waits INTEGER NOT NULL, 
	recorded_at VARCHAR(32), 
	record TEXT NOT NULL, 
	CONSTRAINT pk_rounds PRIMARY KEY (id), 
	CONSTRAINT ck_rounds_origin CHECK (origin = 'card' OR origin = 'file'), 
	CONSTRAINT ck_rounds_unit CHECK (unit = 'm' OR unit = 'ft'), 
	CONSTRAINT ck_rounds_holes_scored CHECK (holes_scored >= 0 AND holes_scored <= holes), 
	CONSTRAINT ck_rounds_waits CHECK (waits >= 0), 
	CONSTRAINT ck_rounds_misses CHECK (misses_drive >= 0 AND misses_approach >= 0 AND misses_putt >= 0)
);
INSERT INTO "rounds" VALUES('ABCD2345','card','round9','2026-06-14','Wren',NULL,NULL,'m',1,1,4,3,1,0,1,0,'2026-06-14T18:00:00Z','{"form":"round9","hand":{"source":"printed","value":"right"},"holes":[{"number":1,"par":{"p":0.999,"source":"read","value":3},"penalty":{"p":0.999,"source":"read","value":0},"score":{"p":0.999,"source":"read","value":4},"throws":[{"execution":{"p":0.999,"source":"read","value":"miss"},"holed":false,"order":1,"phase":"drive"},{"execution":{"p":0.999,"source":"read","value":"clean"},"holed":false,"order":2,"phase":"approach"},{"distance":{"p":0.999,"source":"read","value":null},"execution":{"p":0.999,"source":"read","value":"miss"},"holed":false,"order":3,"phase":"putt","stance":{"p":0.999,"source":"read","value":null}},{"distance":{"p":0.999,"source":"read","value":null},"execution":{"p":0.999,"source":"read","value":"clean"},"holed":true,"order":4,"phase":"putt"}]}],"id":"ABCD2345","played_on":{"p":0.999,"source":"read","value":"2026-06-14"},"player":"Wren","recorded_at":"2026-06-14T18:00:00Z","schema":1,"sources":["aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"],"tallies":{"approach":{"p":0.999,"source":"read","value":null},"drive":{"p":0.999,"source":"read","value":1},"putt":{"p":0.999,"source":"read","value":null}},"total":{"p":0.999,"source":"read","value":4},"unit":"m","wind":{"p":0.999,"source":"read","value":null},"worst":{"p":0.999,"source":"read","value":null}}');
CREATE TABLE seals ("of" TEXT NOT NULL, "key" TEXT NOT NULL, "sum" TEXT NOT NULL, PRIMARY KEY ("of", "key")) WITHOUT ROWID;
INSERT INTO "seals" VALUES('aside','WXYZ2345','69701181a5a6f1d0');
INSERT INTO "seals" VALUES('cards','8JSHR4Z5','7194a0bac7d1b9c2');
INSERT INTO "seals" VALUES('cards','ABCD2345','d00639445c212660');
INSERT INTO "seals" VALUES('forms','four-phases','eb262aceecbc9781');
INSERT INTO "seals" VALUES('forms','round9','9b9a12a4d5cb7bb3');
INSERT INTO "seals" VALUES('photos','aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','ccd2cf916fcdf28e');
INSERT INTO "seals" VALUES('photos','bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb','83aced784cff155a');
INSERT INTO "seals" VALUES('photos','cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc','7a5888a6ff58c3b7');
INSERT INTO "seals" VALUES('readings','aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa/ABCD2345','16ae807a320cdd53');
INSERT INTO "seals" VALUES('readings','cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc/8JSHR4Z5','03a10173e9fc01a9');
INSERT INTO "seals" VALUES('rounds','ABCD2345','6a2bf76308c00652');
INSERT INTO "seals" VALUES('store_version','1','66a72ea5185a83c1');
CREATE TABLE sessions (
	id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, 
	player VARCHAR(500), 
	day DATE NOT NULL, 
	phase VARCHAR(8) NOT NULL, 
	minutes INTEGER NOT NULL, 
	told_at VARCHAR(32) NOT NULL, 
	CONSTRAINT ck_sessions_phase CHECK (phase IN ('drive', 'approach', 'putt')), 
	CONSTRAINT ck_sessions_minutes CHECK (minutes BETWEEN 1 AND 600)
);
CREATE TABLE store_version (
	id INTEGER NOT NULL, 
	version INTEGER NOT NULL, 
	CONSTRAINT pk_store_version PRIMARY KEY (id), 
	CONSTRAINT ck_store_version_one_row CHECK (id = 1), 
	CONSTRAINT ck_store_version_version CHECK (version >= 1)
);
INSERT INTO "store_version" VALUES(1,7);
CREATE TABLE throws (
	round VARCHAR(64) NOT NULL, 
	hole INTEGER NOT NULL, 
	throw INTEGER NOT NULL, 
	phase VARCHAR(8) NOT NULL, 
	execution VARCHAR(8), 
	holed BOOLEAN, 
	distance_m FLOAT, 
	stance VARCHAR(500), 
	direction VARCHAR(500), 
	forehand BOOLEAN, 
	cause VARCHAR(500), 
	words TEXT, 
	CONSTRAINT pk_throws PRIMARY KEY (round, hole, throw), 
	CONSTRAINT fk_throws_round FOREIGN KEY(round, hole) REFERENCES holes (round, hole) ON DELETE CASCADE, 
	CONSTRAINT ck_throws_throw CHECK (throw BETWEEN 1 AND 99), 
	CONSTRAINT ck_throws_phase CHECK (phase = 'drive' OR phase = 'approach' OR phase = 'putt'), 
	CONSTRAINT ck_throws_execution CHECK (execution = 'clean' OR execution = 'miss' OR execution = 'unmarked'), 
	CONSTRAINT ck_throws_distance CHECK (distance_m >= 0)
);
INSERT INTO "throws" VALUES('ABCD2345',1,1,'drive','miss',0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('ABCD2345',1,2,'approach','clean',0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('ABCD2345',1,3,'putt','miss',0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('ABCD2345',1,4,'putt','clean',1,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE INDEX ix_rounds_player ON rounds (player);
CREATE INDEX ix_rounds_played_on ON rounds (played_on);
CREATE INDEX ix_sessions_player ON sessions (player);
CREATE INDEX ix_readings_serial ON readings (serial);
CREATE INDEX ix_answers_serial ON answers (serial);
CREATE INDEX ix_hand_boxes_player ON hand_boxes (player);
DELETE FROM "sqlite_sequence";
COMMIT;
