-- +goose Up

-- A second way to reach people: the webhook. A CHECK cannot be changed in
-- place on SQLite, so the table is made anew, in both engines alike.
CREATE TABLE messages_new (
    id          TEXT   NOT NULL PRIMARY KEY CHECK (id <> ''),
    firm        TEXT   NOT NULL REFERENCES firms (uid),
    kind        TEXT   NOT NULL,
    job         TEXT   NOT NULL,
    visit       BIGINT NOT NULL,
    date        TEXT   NOT NULL,
    occasion    TEXT   NOT NULL,
    recipient   TEXT   NOT NULL CHECK (recipient <> ''),
    channel     TEXT   NOT NULL CHECK (channel IN ('mail', 'webhook')),
    audience    TEXT   NOT NULL CHECK (audience IN ('crew', 'owner', 'customer')),
    message_id  TEXT   NOT NULL,
    subject     TEXT   NOT NULL,
    reason      TEXT   NOT NULL,
    created     BIGINT NOT NULL,
    not_before  BIGINT NOT NULL,
    expires     BIGINT NOT NULL,
    state       TEXT   NOT NULL CHECK (state IN
                ('pending', 'begun', 'sent', 'refused', 'withdrawn', 'expired', 'unknown')),
    tries       BIGINT NOT NULL CHECK (tries >= 0),
    begun       BIGINT NOT NULL,
    settled     BIGINT NOT NULL,
    next_try    BIGINT NOT NULL,
    note        TEXT   NOT NULL,
    lease       TEXT   NOT NULL,
    lease_until BIGINT NOT NULL,
    wire        BYTEA  NOT NULL,
    -- a customer is written to by mail alone
    CHECK (audience <> 'customer' OR channel = 'mail'),
    -- open messages are not settled, settled ones are and bear no lease
    CHECK ((state IN ('pending', 'begun')) = (settled = -62135596800000)),
    CHECK (state IN ('pending', 'begun') OR lease = ''),
    -- what was handed over or sent was begun
    CHECK (state NOT IN ('begun', 'sent') OR begun > -62135596800000),
    CHECK ((lease = '') = (lease_until = -62135596800000))
);
INSERT INTO messages_new (id, firm, kind, job, visit, date, occasion, recipient, channel, audience, message_id,
        subject, reason, created, not_before, expires, state, tries, begun, settled, next_try, note, lease,
        lease_until, wire)
    SELECT id, firm, kind, job, visit, date, occasion, recipient, channel, audience, message_id,
        subject, reason, created, not_before, expires, state, tries, begun, settled, next_try, note, lease,
        lease_until, wire FROM messages;
DROP TABLE messages;
ALTER TABLE messages_new RENAME TO messages;
-- the open messages: of any firm, of one firm, of one person about one visit
CREATE INDEX messages_open ON messages (created, id) WHERE state IN ('pending', 'begun');
CREATE INDEX messages_open_firm ON messages (firm, created, id) WHERE state IN ('pending', 'begun');
CREATE INDEX messages_order ON messages (firm, recipient, job, visit, created, id)
    WHERE state IN ('pending', 'begun');
CREATE INDEX messages_firm ON messages (firm, created, id);

-- The same for links: one more purpose, to stop a mail that may be stopped.
CREATE TABLE links_new (
    firm       TEXT   NOT NULL REFERENCES firms (uid),
    audience   TEXT   NOT NULL CHECK (audience IN ('customer', 'crew', 'owner')),
    id         TEXT   NOT NULL,
    purpose    TEXT   NOT NULL CHECK (purpose IN ('page', 'feed', 'approve', 'stop')),
    generation BIGINT NOT NULL CHECK (generation >= 0),
    hash       TEXT   NOT NULL UNIQUE CHECK (hash <> ''),
    created    BIGINT NOT NULL,
    PRIMARY KEY (firm, audience, id, purpose),
    CHECK ((audience = 'owner') = (id = ''))
);
INSERT INTO links_new (firm, audience, id, purpose, generation, hash, created)
    SELECT firm, audience, id, purpose, generation, hash, created FROM links;
DROP TABLE links;
ALTER TABLE links_new RENAME TO links;

-- Who wants a mail no more that may be stopped (the week mail): by kind and
-- address in lower case.
CREATE TABLE stopped (
    firm   TEXT   NOT NULL REFERENCES firms (uid),
    person TEXT   NOT NULL CHECK (person <> ''),
    kind   TEXT   NOT NULL CHECK (kind <> ''),
    at     BIGINT NOT NULL,
    PRIMARY KEY (firm, person, kind)
);
