-- +goose Up

-- What crews noted on site: reports (seen, started, sealed, topcoated, stopped),
-- readings and batches. Rows are only ever added; seq numbers those of a job in
-- the order in which they came, from 1.
CREATE TABLE diary (
    firm  TEXT   NOT NULL,
    id    TEXT   NOT NULL CHECK (id <> ''),
    kind  TEXT   NOT NULL CHECK (kind IN ('report', 'reading', 'batch')),
    job   TEXT   NOT NULL,
    seq   BIGINT NOT NULL CHECK (seq >= 1),
    n     BIGINT NOT NULL CHECK (n >= 1),
    date  TEXT   NOT NULL CHECK (date <> ''),
    noted BIGINT NOT NULL,
    body  TEXT   NOT NULL,
    PRIMARY KEY (firm, id),
    UNIQUE (firm, job, seq),
    FOREIGN KEY (firm, job) REFERENCES jobs (firm, id)
);
CREATE INDEX diary_day ON diary (firm, date);
