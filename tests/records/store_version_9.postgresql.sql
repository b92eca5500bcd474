CREATE TABLE answers (
	id SERIAL NOT NULL,
	serial VARCHAR(64) NOT NULL,
	field VARCHAR(100) NOT NULL,
	value TEXT NOT NULL,
	"over" TEXT NOT NULL,
	who VARCHAR(500) NOT NULL,
	at VARCHAR(32) NOT NULL,
	CONSTRAINT pk_answers PRIMARY KEY (id),
	CONSTRAINT fk_answers_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
CREATE INDEX ix_answers_serial ON answers (serial);
CREATE TABLE aside (
	serial VARCHAR(64) NOT NULL,
	player VARCHAR(500),
	kept BOOLEAN NOT NULL,
	at VARCHAR(32) NOT NULL,
	says TEXT NOT NULL,
	rows TEXT NOT NULL,
	CONSTRAINT pk_aside PRIMARY KEY (serial)
);
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
CREATE TABLE forms (
	fingerprint VARCHAR(100) NOT NULL,
	text TEXT NOT NULL,
	CONSTRAINT pk_forms PRIMARY KEY (fingerprint)
);
CREATE TABLE hand_boxes (
	id SERIAL NOT NULL,
	player VARCHAR(500) NOT NULL,
	serial VARCHAR(64) NOT NULL,
	cell VARCHAR(100) NOT NULL,
	view BYTEA NOT NULL,
	digit INTEGER,
	by VARCHAR(8),
	CONSTRAINT pk_hand_boxes PRIMARY KEY (id),
	CONSTRAINT uq_hand_boxes_serial UNIQUE (serial, cell),
	CONSTRAINT ck_hand_boxes_digit CHECK (digit BETWEEN 0 AND 9),
	CONSTRAINT ck_hand_boxes_vouched CHECK ((digit IS NULL) = (by IS NULL)),
	CONSTRAINT ck_hand_boxes_by CHECK (by = 'person' OR by = 'sums'),
	CONSTRAINT fk_hand_boxes_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
CREATE INDEX ix_hand_boxes_player ON hand_boxes (player);
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
CREATE TABLE misses (
	round VARCHAR(64) NOT NULL,
	place INTEGER NOT NULL,
	phase VARCHAR(8) NOT NULL,
	misses INTEGER NOT NULL,
	tally INTEGER,
	CONSTRAINT pk_misses PRIMARY KEY (round, place),
	CONSTRAINT uq_misses_round UNIQUE (round, phase),
	CONSTRAINT ck_misses_place CHECK (place BETWEEN 1 AND 9),
	CONSTRAINT ck_misses_phase CHECK (phase <> ''),
	CONSTRAINT ck_misses_misses CHECK (misses >= 0),
	CONSTRAINT ck_misses_tally CHECK (tally BETWEEN 0 AND 9999),
	CONSTRAINT fk_misses_round FOREIGN KEY(round) REFERENCES rounds (id) ON DELETE CASCADE
);
CREATE TABLE photos (
	sha256 VARCHAR(64) NOT NULL,
	status VARCHAR(8) NOT NULL,
	reason TEXT,
	whole BOOLEAN DEFAULT true NOT NULL,
	CONSTRAINT pk_photos PRIMARY KEY (sha256),
	CONSTRAINT ck_photos_sha256 CHECK (length(sha256) = 64),
	CONSTRAINT ck_photos_status CHECK (status = 'read' OR status = 'rejected')
);
CREATE TABLE pictures (
	serial VARCHAR(64) NOT NULL,
	field VARCHAR(100) NOT NULL,
	png BYTEA NOT NULL,
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
	evidence BYTEA,
	CONSTRAINT pk_readings PRIMARY KEY (photo, serial),
	CONSTRAINT ck_readings_flags CHECK (flags >= 0),
	CONSTRAINT fk_readings_photo FOREIGN KEY(photo) REFERENCES photos (sha256),
	CONSTRAINT fk_readings_serial FOREIGN KEY(serial) REFERENCES cards (serial) ON DELETE CASCADE
);
CREATE INDEX ix_readings_serial ON readings (serial);
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
	waits INTEGER NOT NULL,
	recorded_at VARCHAR(32),
	record TEXT NOT NULL,
	CONSTRAINT pk_rounds PRIMARY KEY (id),
	CONSTRAINT ck_rounds_origin CHECK (origin = 'card' OR origin = 'file'),
	CONSTRAINT ck_rounds_unit CHECK (unit = 'm' OR unit = 'ft'),
	CONSTRAINT ck_rounds_holes_scored CHECK (holes_scored >= 0 AND holes_scored <= holes),
	CONSTRAINT ck_rounds_waits CHECK (waits >= 0)
);
CREATE INDEX ix_rounds_played_on ON rounds (played_on);
CREATE INDEX ix_rounds_player ON rounds (player);
CREATE TABLE sessions (
	id SERIAL NOT NULL,
	player VARCHAR(500),
	day DATE NOT NULL,
	phase VARCHAR(8) NOT NULL,
	minutes INTEGER NOT NULL,
	told_at VARCHAR(32) NOT NULL,
	CONSTRAINT pk_sessions PRIMARY KEY (id),
	CONSTRAINT ck_sessions_phase CHECK (phase <> ''),
	CONSTRAINT ck_sessions_minutes CHECK (minutes BETWEEN 1 AND 600)
);
CREATE INDEX ix_sessions_player ON sessions (player);
CREATE TABLE store_version (
	id SERIAL NOT NULL,
	version INTEGER NOT NULL,
	CONSTRAINT pk_store_version PRIMARY KEY (id),
	CONSTRAINT ck_store_version_one_row CHECK (id = 1),
	CONSTRAINT ck_store_version_version CHECK (version >= 1)
);
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
	CONSTRAINT fk_throws_phase FOREIGN KEY(round, phase) REFERENCES misses (round, phase) ON DELETE CASCADE,
	CONSTRAINT ck_throws_throw CHECK (throw BETWEEN 1 AND 99),
	CONSTRAINT ck_throws_execution CHECK (execution = 'clean' OR execution = 'miss' OR execution = 'unmarked'),
	CONSTRAINT ck_throws_distance CHECK (distance_m >= 0)
);
