package scheduler

import "sync"

// cache keeps values that are dear to work out, up to so many bytes: what was
// asked for longest ago goes first. A value that is missing is worked out by who
// asks first, outside the lock; others who ask for the same wait for it, and who
// asks for another does not. The zero cache is ready for use.
type cache struct {
	mu      sync.Mutex
	entries map[any]*entry
	bytes   int
	most    int // bytes; 0: mostBytes
	clock   int // counts the questions
}

// entry is a value of the cache, or one on its way.
type entry struct {
	done  chan struct{} // closed when the value stands or was given up
	value any
	bytes int
	made  bool // the value stands
	asked int  // when it was last asked for
}

// cached gives the value of a key. Where it is missing, work gives it and the bytes
// it takes; it may ask the cache for other keys. The keys in `along`, where they are
// there, count as asked for too. Where work panics nothing is kept, and one of those
// who waited works it out.
func cached[T any](c *cache, key any, work func() (T, int), along ...any) T {
	for {
		x, first := c.ask(key, along)
		if first {
			return fill(c, key, x, work)
		}
		<-x.done
		if x.made {
			return x.value.(T)
		}
	}
}

// fill works out the value of an entry.
func fill[T any](c *cache, key any, x *entry, work func() (T, int)) T {
	made := false
	defer func() { c.settle(key, x, made) }() // by a panic too: nobody waits for ever
	value, bytes := work()
	x.value, x.bytes, made = value, bytes, true
	return value
}

// ask gives the entry of a key; first says that it is new and the asker's to fill.
func (c *cache) ask(key any, along []any) (x *entry, first bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.clock++
	for _, k := range along {
		if y := c.entries[k]; y != nil {
			y.asked = c.clock
		}
	}
	x = c.entries[key]
	if x == nil {
		first, x = true, &entry{done: make(chan struct{})}
		if c.entries == nil {
			c.entries = map[any]*entry{}
		}
		c.entries[key] = x
	}
	x.asked = c.clock
	return x, first
}

// has reports whether a value is there, or on its way.
func (c *cache) has(key any) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.entries[key] != nil
}

// settle ends the filling of an entry, and makes room.
func (c *cache) settle(key any, x *entry, made bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if x.made = made; made {
		c.bytes += x.bytes
		c.shrink(x.asked)
	} else {
		delete(c.entries, key)
	}
	close(x.done)
}

// shrink drops what was not asked for longest until the rest fits. What was asked
// for at `since` or later stays, and so does all that was asked for since the oldest
// that is on its way: it may rest on that.
func (c *cache) shrink(since int) {
	most := c.most
	if most == 0 {
		most = mostBytes
	}
	for _, x := range c.entries {
		if !x.made {
			since = min(since, x.asked)
		}
	}
	for c.bytes > most {
		oldest := since
		for _, x := range c.entries {
			oldest = min(oldest, x.asked)
		}
		if oldest == since {
			return
		}
		for k, x := range c.entries {
			if x.asked == oldest {
				c.bytes -= x.bytes
				delete(c.entries, k)
			}
		}
	}
}
