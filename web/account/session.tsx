import { createContext, useContext, useEffect, useMemo, useState, type ReactNode } from 'react';
import type { Session } from '../../server/api/schemas.ts';
import { getSession, SIGNED_OUT } from '../lib/api.ts';

interface KnownSession {
  /** null while it is asked for, or when the program does not answer. */
  session: Session | null;
  /** True until the first answer, where that has to be waited for. */
  isWaiting: boolean;
  /** Asks again: someone came in or went. */
  ask: () => void;
}

const SessionContext = createContext<KnownSession>({ session: null, isWaiting: false, ask: () => {} });

export const useSession = () => useContext(SessionContext);

/** Who is here, asked once and again whenever the server says that nobody is signed in. */
export function SessionProvider({ children }: { children: ReactNode }) {
  const [session, setSession] = useState<Session | null>(null);
  // The program's own address has no accounts: there nothing waits.
  const [isWaiting, setIsWaiting] = useState(location.hostname !== '127.0.0.1');
  const known = useMemo(() => {
    const ask = () => {
      getSession()
        .then(setSession)
        .catch(() => undefined) // The screens themselves say that the program does not answer.
        .finally(() => setIsWaiting(false));
    };
    return { session, isWaiting, ask };
  }, [session, isWaiting]);
  const { ask } = known;
  useEffect(() => {
    ask();
  }, []);
  useEffect(() => {
    addEventListener(SIGNED_OUT, ask);
    return () => removeEventListener(SIGNED_OUT, ask);
  }, [ask]);
  return <SessionContext value={known}>{children}</SessionContext>;
}
