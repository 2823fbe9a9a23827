-- +goose Up

-- Which messages are past their use is asked before each delivery: without this
-- all that wait are read each time.
CREATE INDEX messages_expiring ON messages (expires) WHERE state = 'pending';
