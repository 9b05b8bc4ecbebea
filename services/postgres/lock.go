package postgres

import (
	"context"
	"fmt"
	"time"
)

// TryLock takes the advisory lock of a name if nobody has it. The lock is held by one connection of the pool until release,
// or until the process or its connection dies: Postgres then lets go of it by itself, so a lock that is held is proof of a
// living holder. ok is false, and release nil, when somebody else has it.
func TryLock(ctx context.Context, pool *Pool, name string) (release func(), ok bool, err error) {
	conn, err := pool.Acquire(ctx)
	if err != nil {
		return nil, false, fmt.Errorf("lock %s: %w", name, err)
	}
	if err := conn.QueryRow(ctx, `select pg_try_advisory_lock(hashtextextended($1, 0))`, name).Scan(&ok); err != nil {
		conn.Release()
		return nil, false, fmt.Errorf("lock %s: %w", name, err)
	}
	if !ok {
		conn.Release()
		return nil, false, nil
	}
	return func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		if _, err := conn.Exec(ctx, `select pg_advisory_unlock(hashtextextended($1, 0))`, name); err != nil {
			// The lock must not outlive its holder on a pooled connection: close the connection, and the lock with it.
			_ = conn.Conn().Close(ctx)
		}
		conn.Release()
	}, true, nil
}
