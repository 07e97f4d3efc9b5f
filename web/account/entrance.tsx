import type { ReactNode } from 'react';
import { OneTimeNotice } from './one-time-notice.tsx';
import { SignInScreen } from './sign-in-screen.tsx';
import { useSession } from './session.tsx';

/**
 * On a server with accounts: the door, until someone is signed in, and what she has to see to first.
 * Elsewhere simply what is behind it.
 */
export function Entrance({ children }: { children: ReactNode }) {
  const { session, isWaiting, ask } = useSession();
  if (isWaiting) return null;
  if (session?.mode === 'hosted' && !session.account) {
    return <SignInScreen invitationNeeded={session.invitationNeeded} onEntered={ask} />;
  }
  return (
    <>
      {session?.account?.passwordIsOneTime && <OneTimeNotice onChanged={ask} />}
      {children}
    </>
  );
}
