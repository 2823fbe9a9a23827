package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"laycast/db/archive"
	"laycast/job"
)

// Customer is one customer of a firm, with the jobs booked under the address.
type Customer struct {
	Email string // in lower case
	Name  string // as the newest job has it
	Jobs  []job.Booking
}

// ids gives the ids of the jobs.
func (c Customer) ids() []string {
	out := make([]string, len(c.Jobs))
	for i, b := range c.Jobs {
		out[i] = b.ID
	}
	return out
}

// FindCustomer finds a customer of a firm by the id of a job, by mail address, or by
// name. ErrNotFound where there is none; a name that several have is an error that
// lists their addresses.
func (d *DB) FindCustomer(ctx context.Context, uid, who string) (Customer, error) {
	var c Customer
	err := d.read(ctx, func(tx *sql.Tx) (err error) {
		c, err = findCustomer(ctx, tx, uid, who)
		return err
	})
	if err != nil {
		return Customer{}, fmt.Errorf("find the customer %q of firm %q: %w", who, uid, err)
	}
	return c, nil
}

func findCustomer(ctx context.Context, tx *sql.Tx, uid, who string) (Customer, error) {
	all, err := collect(ctx, tx, body[job.Booking], `SELECT body FROM jobs WHERE firm = $1`, text(uid))
	if err != nil {
		return Customer{}, err
	}
	slices.SortFunc(all, func(x, y job.Booking) int { return cmp.Compare(x.ID, y.ID) })
	named := func(is func(job.Booking) bool) (emails []string) {
		for _, b := range all {
			if is(b) {
				emails = append(emails, strings.ToLower(b.Customer.Email))
			}
		}
		slices.Sort(emails)
		return slices.Compact(emails)
	}
	emails := named(func(b job.Booking) bool { return b.ID == who || strings.EqualFold(b.Customer.Email, who) })
	if len(emails) == 0 {
		emails = named(func(b job.Booking) bool {
			return strings.EqualFold(strings.TrimSpace(b.Customer.Name), strings.TrimSpace(who))
		})
	}
	switch {
	case len(emails) == 0 || who == "":
		return Customer{}, ErrNotFound
	case len(emails) > 1:
		return Customer{}, fmt.Errorf("several customers are meant by it; name one of them by address: %s", strings.Join(emails, ", "))
	}
	c := Customer{Email: emails[0]}
	for _, b := range all {
		if strings.ToLower(b.Customer.Email) == c.Email {
			c.Jobs, c.Name = append(c.Jobs, b), b.Customer.Name
		}
	}
	return c, nil
}

// customerTable says which rows of a table are about a customer, as a condition;
// {jobs} stands for the list of the customer's jobs, {mail}
// for the address in lower case.
type customerTable struct{ name, where string }

// customerTables are all tables with rows about customers, save weeks, whose plans
// name jobs by their ids alone. A test holds it against the tables that there are.
func customerTables() []customerTable {
	return []customerTable{
		{"jobs", `id IN {jobs}`},
		{"visits", `job IN {jobs}`},
		{"calls", `job IN {jobs}`},
		{"diary", `job IN {jobs}`},
		{"records", `job IN {jobs}`},
		{"photos", `job IN {jobs}`},
		{"links", `audience = 'customer' AND LOWER(id) = {mail}`},
		{"published", `job IN {jobs}`},
		{"messages", `(job IN {jobs} OR LOWER(recipient) = {mail})`},
		{"untold", `(job IN {jobs} OR LOWER(person) = {mail})`},
		{"stopped", `LOWER(person) = {mail}`},
		{"signins", `LOWER(person) = {mail}`},
		{"deeds", `(about IN {jobs} OR LOWER(about) = {mail})`},
		{"chances", `job IN {jobs}`},
	}
}

// about gives the condition on the rows of a firm's table that are about the
// customer, and its arguments.
func (c Customer) about(t customerTable, uid string) (string, []any) {
	args, where := []any{text(uid)}, t.where
	mark := func(v string) string {
		args = append(args, text(v))
		return "$" + strconv.Itoa(len(args))
	}
	if strings.Contains(where, "{mail}") {
		where = strings.ReplaceAll(where, "{mail}", mark(c.Email))
	}
	if strings.Contains(where, "{jobs}") {
		marks := make([]string, len(c.Jobs))
		for i, id := range c.ids() {
			marks[i] = mark(id)
		}
		where = strings.ReplaceAll(where, "{jobs}", "("+strings.Join(marks, ", ")+")")
	}
	return ` WHERE firm = $1 AND ` + where, args
}

// CustomerRows hands out every row that is kept about a customer, table by table, as
// in one moment: the table's name and columns, and the row's values in their order.
func (d *DB) CustomerRows(ctx context.Context, uid string, c Customer, emit func(t archive.Table, row archive.Row) error) error {
	if len(c.Jobs) == 0 {
		return fmt.Errorf("read what is kept about a customer of firm %q: %w", uid, ErrNotFound)
	}
	err := d.readOnce(ctx, func(tx *sql.Tx) error {
		for _, kept := range keptTables() {
			i := slices.IndexFunc(customerTables(), func(t customerTable) bool { return t.name == kept.name })
			if i < 0 {
				continue
			}
			cols, err := columnsOf(ctx, tx, kept.name)
			if err != nil {
				return err
			}
			t := archive.Table{Name: kept.name, Columns: cols}
			where, args := c.about(customerTables()[i], uid)
			err = d.rowsOf(ctx, tx, t, `SELECT * FROM `+t.Name+where+d.inOrder(kept, t), args, func(r archive.Row) error { return emit(t, r) })
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read what is kept about %s of firm %q: %w", c.Email, uid, err)
	}
	return nil
}
