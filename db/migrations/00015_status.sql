-- +goose Up

-- For the metrics: what became of the messages settled lately, without reading
-- their texts.
CREATE INDEX messages_settled ON messages (settled, state);
