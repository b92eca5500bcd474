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
INSERT INTO "answers" VALUES(1,'ABCD2345','total','10','9','Robin','2026-06-01T18:30:00Z');
CREATE TABLE cards (
	serial VARCHAR(64) NOT NULL, 
	form VARCHAR(100) NOT NULL, 
	player VARCHAR(500), 
	waiting TEXT NOT NULL, 
	CONSTRAINT pk_cards PRIMARY KEY (serial), 
	CONSTRAINT fk_cards_form FOREIGN KEY(form) REFERENCES forms (fingerprint)
);
INSERT INTO "cards" VALUES('ABCD2345','FP2345','Robin','');
INSERT INTO "cards" VALUES('WXYZ2345','FP2345','Robin','');
CREATE TABLE forms (
	fingerprint VARCHAR(100) NOT NULL, 
	text TEXT NOT NULL, 
	CONSTRAINT pk_forms PRIMARY KEY (fingerprint)
);
INSERT INTO "forms" VALUES('FP2345','1 m');
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
	CONSTRAINT ck_hand_boxes_by CHECK (by IN ('person', 'sums')), 
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
INSERT INTO "holes" VALUES('ABCD2345',1,3,0,NULL,NULL);
INSERT INTO "holes" VALUES('WXYZ2345',1,4,0,NULL,NULL);
CREATE TABLE photos (
	sha256 VARCHAR(64) NOT NULL, 
	status VARCHAR(8) NOT NULL, 
	reason TEXT, 
	CONSTRAINT pk_photos PRIMARY KEY (sha256), 
	CONSTRAINT ck_photos_sha256 CHECK (length(sha256) = 64), 
	CONSTRAINT ck_photos_status CHECK (status IN ('read', 'rejected'))
);
INSERT INTO "photos" VALUES('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','read',NULL);
INSERT INTO "photos" VALUES('bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb','read',NULL);
INSERT INTO "photos" VALUES('cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc','read',NULL);
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
	CONSTRAINT pk_readings PRIMARY KEY (photo, serial), 
	CONSTRAINT ck_readings_flags CHECK (flags >= 0), 
	CONSTRAINT fk_readings_photo FOREIGN KEY(photo) REFERENCES photos (sha256), 
	CONSTRAINT fk_readings_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
INSERT INTO "readings" VALUES('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','ABCD2345',2,'2026-06-01T18:30:00Z','{"source":"card.jpg","status":"read","reason":null,"serial":"ABCD2345","form":"test-round","fingerprint":"FP2345","quality":{"sharpness":0.9},"cells":{"date.day.1":{"value":null,"confidence":0.999,"flag":null},"date.day.2":{"value":null,"confidence":0.999,"flag":null},"date.month.1":{"value":null,"confidence":0.999,"flag":null},"date.month.2":{"value":null,"confidence":0.999,"flag":null},"date.year.1":{"value":null,"confidence":0.999,"flag":null},"date.year.2":{"value":null,"confidence":0.999,"flag":null},"player.strip":{"value":null,"confidence":0.999,"flag":null},"hand.right":{"value":null,"confidence":0.999,"flag":null},"hand.left":{"value":null,"confidence":0.999,"flag":null},"wind.calm":{"value":null,"confidence":0.999,"flag":null},"wind.windy":{"value":null,"confidence":0.999,"flag":null},"h01.par.1":{"value":null,"confidence":0.999,"flag":null},"h01.score.1":{"value":null,"confidence":0.999,"flag":null},"h01.score.2":{"value":null,"confidence":0.999,"flag":null},"h01.penalty.1":{"value":null,"confidence":0.999,"flag":null},"h01.penalty.2":{"value":null,"confidence":0.999,"flag":null},"h01.drive.clean":{"value":null,"confidence":0.999,"flag":null},"h01.drive.miss":{"value":null,"confidence":0.999,"flag":null},"h01.approach1.clean":{"value":null,"confidence":0.999,"flag":null},"h01.approach1.miss":{"value":null,"confidence":0.999,"flag":null},"h01.approach2.clean":{"value":null,"confidence":0.999,"flag":null},"h01.approach2.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt3.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt3.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.distance.1":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.distance.2":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.distance.1":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.distance.2":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.stance.straddle":{"value":null,"confidence":0.999,"flag":null},"h01.way.left":{"value":null,"confidence":0.999,"flag":null},"h01.way.right":{"value":null,"confidence":0.999,"flag":null},"h01.way.long":{"value":null,"confidence":0.999,"flag":null},"h01.way.short":{"value":null,"confidence":0.999,"flag":null},"h01.forehand.yes":{"value":null,"confidence":0.999,"flag":null},"h01.why.1":{"value":null,"confidence":0.999,"flag":null},"h01.words.strip":{"value":null,"confidence":0.999,"flag":null},"worst.drive":{"value":null,"confidence":0.999,"flag":null},"worst.approach":{"value":null,"confidence":0.999,"flag":null},"worst.putt":{"value":null,"confidence":0.999,"flag":null},"tally.drive.1":{"value":null,"confidence":0.999,"flag":null},"tally.drive.2":{"value":null,"confidence":0.999,"flag":null},"tally.approach.1":{"value":null,"confidence":0.999,"flag":null},"tally.approach.2":{"value":null,"confidence":0.999,"flag":null},"tally.putt.1":{"value":null,"confidence":0.999,"flag":null},"tally.putt.2":{"value":null,"confidence":0.999,"flag":null},"total.1":{"value":null,"confidence":0.999,"flag":null},"total.2":{"value":null,"confidence":0.999,"flag":null},"total.3":{"value":null,"confidence":0.999,"flag":null}},"fields":{"date.day":{"value":31,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"date.month":{"value":5,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"date.year":{"value":26,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"player":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"hand":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"wind":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.par":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.score":{"value":7,"p":0.71,"flag":"faint","source":"read","rule":null,"alternatives":[]},"h01.penalty":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.drive":{"value":"miss","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.approach1":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.approach2":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1":{"value":"miss","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt2":{"value":"clean","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt3":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1.distance":{"value":7,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt2.distance":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1.stance":{"value":"straddle","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.way":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.forehand":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.why":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.words":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"worst":{"value":"drive","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.drive":{"value":2,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.approach":{"value":0,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.putt":{"value":1,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"total":{"value":9,"p":0.71,"flag":"faint","source":"read","rule":null,"alternatives":[]}},"together":[],"findings":[]}');
INSERT INTO "readings" VALUES('bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb','ABCD2345',1,'2026-06-01T18:30:00Z','{"source":"card.jpg","status":"read","reason":null,"serial":"ABCD2345","form":"test-round","fingerprint":"FP2345","quality":{"sharpness":0.9},"cells":{"date.day.1":{"value":null,"confidence":0.999,"flag":null},"date.day.2":{"value":null,"confidence":0.999,"flag":null},"date.month.1":{"value":null,"confidence":0.999,"flag":null},"date.month.2":{"value":null,"confidence":0.999,"flag":null},"date.year.1":{"value":null,"confidence":0.999,"flag":null},"date.year.2":{"value":null,"confidence":0.999,"flag":null},"player.strip":{"value":null,"confidence":0.999,"flag":null},"hand.right":{"value":null,"confidence":0.999,"flag":null},"hand.left":{"value":null,"confidence":0.999,"flag":null},"wind.calm":{"value":null,"confidence":0.999,"flag":null},"wind.windy":{"value":null,"confidence":0.999,"flag":null},"h01.par.1":{"value":null,"confidence":0.999,"flag":null},"h01.score.1":{"value":null,"confidence":0.999,"flag":null},"h01.score.2":{"value":null,"confidence":0.999,"flag":null},"h01.penalty.1":{"value":null,"confidence":0.999,"flag":null},"h01.penalty.2":{"value":null,"confidence":0.999,"flag":null},"h01.drive.clean":{"value":null,"confidence":0.999,"flag":null},"h01.drive.miss":{"value":null,"confidence":0.999,"flag":null},"h01.approach1.clean":{"value":null,"confidence":0.999,"flag":null},"h01.approach1.miss":{"value":null,"confidence":0.999,"flag":null},"h01.approach2.clean":{"value":null,"confidence":0.999,"flag":null},"h01.approach2.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt3.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt3.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.distance.1":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.distance.2":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.distance.1":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.distance.2":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.stance.straddle":{"value":null,"confidence":0.999,"flag":null},"h01.way.left":{"value":null,"confidence":0.999,"flag":null},"h01.way.right":{"value":null,"confidence":0.999,"flag":null},"h01.way.long":{"value":null,"confidence":0.999,"flag":null},"h01.way.short":{"value":null,"confidence":0.999,"flag":null},"h01.forehand.yes":{"value":null,"confidence":0.999,"flag":null},"h01.why.1":{"value":null,"confidence":0.999,"flag":null},"h01.words.strip":{"value":null,"confidence":0.999,"flag":null},"worst.drive":{"value":null,"confidence":0.999,"flag":null},"worst.approach":{"value":null,"confidence":0.999,"flag":null},"worst.putt":{"value":null,"confidence":0.999,"flag":null},"tally.drive.1":{"value":null,"confidence":0.999,"flag":null},"tally.drive.2":{"value":null,"confidence":0.999,"flag":null},"tally.approach.1":{"value":null,"confidence":0.999,"flag":null},"tally.approach.2":{"value":null,"confidence":0.999,"flag":null},"tally.putt.1":{"value":null,"confidence":0.999,"flag":null},"tally.putt.2":{"value":null,"confidence":0.999,"flag":null},"total.1":{"value":null,"confidence":0.999,"flag":null},"total.2":{"value":null,"confidence":0.999,"flag":null},"total.3":{"value":null,"confidence":0.999,"flag":null}},"fields":{"date.day":{"value":31,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"date.month":{"value":5,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"date.year":{"value":26,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"player":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"hand":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"wind":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.par":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.score":{"value":3,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.penalty":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.drive":{"value":"miss","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.approach1":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.approach2":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1":{"value":"miss","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt2":{"value":"clean","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt3":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1.distance":{"value":7,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt2.distance":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1.stance":{"value":"straddle","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.way":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.forehand":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.why":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.words":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"worst":{"value":"drive","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.drive":{"value":2,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.approach":{"value":0,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.putt":{"value":1,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"total":{"value":9,"p":0.71,"flag":"faint","source":"read","rule":null,"alternatives":[]}},"together":[],"findings":[]}');
INSERT INTO "readings" VALUES('cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc','WXYZ2345',0,'2026-06-01T18:30:00Z','{"source":"card.jpg","status":"read","reason":null,"serial":"WXYZ2345","form":"test-round","fingerprint":"FP2345","quality":{"sharpness":0.9},"cells":{"date.day.1":{"value":null,"confidence":0.999,"flag":null},"date.day.2":{"value":null,"confidence":0.999,"flag":null},"date.month.1":{"value":null,"confidence":0.999,"flag":null},"date.month.2":{"value":null,"confidence":0.999,"flag":null},"date.year.1":{"value":null,"confidence":0.999,"flag":null},"date.year.2":{"value":null,"confidence":0.999,"flag":null},"player.strip":{"value":null,"confidence":0.999,"flag":null},"hand.right":{"value":null,"confidence":0.999,"flag":null},"hand.left":{"value":null,"confidence":0.999,"flag":null},"wind.calm":{"value":null,"confidence":0.999,"flag":null},"wind.windy":{"value":null,"confidence":0.999,"flag":null},"h01.par.1":{"value":null,"confidence":0.999,"flag":null},"h01.score.1":{"value":null,"confidence":0.999,"flag":null},"h01.score.2":{"value":null,"confidence":0.999,"flag":null},"h01.penalty.1":{"value":null,"confidence":0.999,"flag":null},"h01.penalty.2":{"value":null,"confidence":0.999,"flag":null},"h01.drive.clean":{"value":null,"confidence":0.999,"flag":null},"h01.drive.miss":{"value":null,"confidence":0.999,"flag":null},"h01.approach1.clean":{"value":null,"confidence":0.999,"flag":null},"h01.approach1.miss":{"value":null,"confidence":0.999,"flag":null},"h01.approach2.clean":{"value":null,"confidence":0.999,"flag":null},"h01.approach2.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt3.clean":{"value":null,"confidence":0.999,"flag":null},"h01.putt3.miss":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.distance.1":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.distance.2":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.distance.1":{"value":null,"confidence":0.999,"flag":null},"h01.putt2.distance.2":{"value":null,"confidence":0.999,"flag":null},"h01.putt1.stance.straddle":{"value":null,"confidence":0.999,"flag":null},"h01.way.left":{"value":null,"confidence":0.999,"flag":null},"h01.way.right":{"value":null,"confidence":0.999,"flag":null},"h01.way.long":{"value":null,"confidence":0.999,"flag":null},"h01.way.short":{"value":null,"confidence":0.999,"flag":null},"h01.forehand.yes":{"value":null,"confidence":0.999,"flag":null},"h01.why.1":{"value":null,"confidence":0.999,"flag":null},"h01.words.strip":{"value":null,"confidence":0.999,"flag":null},"worst.drive":{"value":null,"confidence":0.999,"flag":null},"worst.approach":{"value":null,"confidence":0.999,"flag":null},"worst.putt":{"value":null,"confidence":0.999,"flag":null},"tally.drive.1":{"value":null,"confidence":0.999,"flag":null},"tally.drive.2":{"value":null,"confidence":0.999,"flag":null},"tally.approach.1":{"value":null,"confidence":0.999,"flag":null},"tally.approach.2":{"value":null,"confidence":0.999,"flag":null},"tally.putt.1":{"value":null,"confidence":0.999,"flag":null},"tally.putt.2":{"value":null,"confidence":0.999,"flag":null},"total.1":{"value":null,"confidence":0.999,"flag":null},"total.2":{"value":null,"confidence":0.999,"flag":null},"total.3":{"value":null,"confidence":0.999,"flag":null}},"fields":{"date.day":{"value":31,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"date.month":{"value":5,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"date.year":{"value":26,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"player":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"hand":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"wind":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.par":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.score":{"value":4,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.penalty":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.drive":{"value":"miss","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.approach1":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.approach2":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1":{"value":"miss","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt2":{"value":"clean","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt3":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1.distance":{"value":7,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt2.distance":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.putt1.stance":{"value":"straddle","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.way":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.forehand":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.why":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"h01.words":{"value":null,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"worst":{"value":"drive","p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.drive":{"value":2,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.approach":{"value":0,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"tally.putt":{"value":1,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]},"total":{"value":9,"p":0.9991,"flag":null,"source":"read","rule":null,"alternatives":[]}},"together":[],"findings":[]}');
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
	CONSTRAINT ck_rounds_origin CHECK (origin IN ('card', 'file')), 
	CONSTRAINT ck_rounds_unit CHECK (unit IN ('m', 'ft')), 
	CONSTRAINT ck_rounds_holes_scored CHECK (holes_scored >= 0 AND holes_scored <= holes), 
	CONSTRAINT ck_rounds_waits CHECK (waits >= 0), 
	CONSTRAINT ck_rounds_misses CHECK (misses_drive >= 0 AND misses_approach >= 0 AND misses_putt >= 0)
);
INSERT INTO "rounds" VALUES('ABCD2345','card','FP2345','2026-05-31','Robin',NULL,NULL,'m',1,1,3,NULL,1,0,1,0,'2026-06-01T18:30:00Z','{"form":"FP2345","hand":{"source":"printed","value":"right"},"holes":[{"number":1,"par":{"p":0.9991,"source":"read","value":null},"penalty":{"p":0.9991,"source":"read","value":0},"score":{"p":0.9991,"source":"read","value":3},"throws":[{"execution":{"p":0.9991,"source":"read","value":"miss"},"holed":false,"order":1,"phase":"drive"},{"distance":{"p":0.9991,"source":"read","value":7},"distance_m":7.0,"execution":{"p":0.9991,"source":"read","value":"miss"},"holed":false,"order":2,"phase":"putt","stance":{"p":0.9991,"source":"read","value":"straddle"}},{"distance":{"p":0.9991,"source":"read","value":null},"execution":{"p":0.9991,"source":"read","value":"clean"},"holed":true,"order":3,"phase":"putt"}]}],"id":"ABCD2345","played_on":{"p":0.9991,"source":"read","value":"2026-05-31"},"player":"Robin","recorded_at":"2026-06-01T18:30:00Z","schema":1,"sources":["aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa","bbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbbb"],"tallies":{"approach":{"p":0.9991,"source":"read","value":0},"drive":{"p":0.9991,"source":"read","value":2},"putt":{"p":0.9991,"source":"read","value":1}},"total":{"at":"2026-06-01T18:30:00Z","by":"Robin","over":9,"source":"entered","value":10},"unit":"m","wind":{"p":0.9991,"source":"default","value":"calm"},"worst":{"p":0.9991,"source":"read","value":"drive"}}');
INSERT INTO "rounds" VALUES('WXYZ2345','card','FP2345','2026-05-31','Robin',NULL,NULL,'m',1,1,4,NULL,1,0,1,0,'2026-06-01T18:30:00Z','{"form":"FP2345","hand":{"source":"printed","value":"right"},"holes":[{"number":1,"par":{"p":0.9991,"source":"read","value":null},"penalty":{"p":0.9991,"source":"read","value":0},"score":{"p":0.9991,"source":"read","value":4},"throws":[{"execution":{"p":0.9991,"source":"read","value":"miss"},"holed":false,"order":1,"phase":"drive"},{"distance":{"p":0.9991,"source":"read","value":7},"distance_m":7.0,"execution":{"p":0.9991,"source":"read","value":"miss"},"holed":false,"order":2,"phase":"putt","stance":{"p":0.9991,"source":"read","value":"straddle"}},{"distance":{"p":0.9991,"source":"read","value":null},"execution":{"p":0.9991,"source":"read","value":"clean"},"order":3,"phase":"putt"}]}],"id":"WXYZ2345","played_on":{"p":0.9991,"source":"read","value":"2026-05-31"},"player":"Robin","recorded_at":"2026-06-01T18:30:00Z","schema":1,"sources":["cccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccccc"],"tallies":{"approach":{"p":0.9991,"source":"read","value":0},"drive":{"p":0.9991,"source":"read","value":2},"putt":{"p":0.9991,"source":"read","value":1}},"total":{"p":0.9991,"source":"read","value":9},"unit":"m","wind":{"p":0.9991,"source":"default","value":"calm"},"worst":{"p":0.9991,"source":"read","value":"drive"}}');
CREATE TABLE store_version (
	id INTEGER NOT NULL, 
	version INTEGER NOT NULL, 
	CONSTRAINT pk_store_version PRIMARY KEY (id), 
	CONSTRAINT ck_store_version_one_row CHECK (id = 1), 
	CONSTRAINT ck_store_version_version CHECK (version >= 1)
);
INSERT INTO "store_version" VALUES(1,2);
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
	CONSTRAINT ck_throws_phase CHECK (phase IN ('drive', 'approach', 'putt')), 
	CONSTRAINT ck_throws_execution CHECK (execution IN ('clean', 'miss', 'unmarked')), 
	CONSTRAINT ck_throws_distance CHECK (distance_m >= 0)
);
INSERT INTO "throws" VALUES('ABCD2345',1,1,'drive','miss',0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('ABCD2345',1,2,'putt','miss',0,7.0,'straddle',NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('ABCD2345',1,3,'putt','clean',1,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('WXYZ2345',1,1,'drive','miss',0,NULL,NULL,NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('WXYZ2345',1,2,'putt','miss',0,7.0,'straddle',NULL,NULL,NULL,NULL);
INSERT INTO "throws" VALUES('WXYZ2345',1,3,'putt','clean',NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE INDEX ix_rounds_played_on ON rounds (played_on);
CREATE INDEX ix_rounds_player ON rounds (player);
CREATE INDEX ix_readings_serial ON readings (serial);
CREATE INDEX ix_answers_serial ON answers (serial);
CREATE INDEX ix_hand_boxes_player ON hand_boxes (player);
DELETE FROM "sqlite_sequence";
INSERT INTO "sqlite_sequence" VALUES('answers',1);
COMMIT;
