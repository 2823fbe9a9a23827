-- +goose Up

-- How wrong a source's forecasts for a cell have been: body holds the whole
-- statistics as JSON. through is the end of the last day they were learned from,
-- so that no day is learned from twice.
CREATE TABLE skill (
    source  TEXT   NOT NULL CHECK (source <> ''),
    cell    TEXT   NOT NULL CHECK (cell <> ''),
    through BIGINT NOT NULL,
    body    TEXT   NOT NULL,
    PRIMARY KEY (source, cell)
);
