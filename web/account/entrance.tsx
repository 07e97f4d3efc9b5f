import type { ReactNode } from 'react';
import { SignInScreen } from './sign-in-screen.tsx';
import { useSession } from './session.tsx';

/** On a server with accounts: the door, until someone is signed in. Elsewhere simply what is behind it. */
export function Entrance({ children }: { children: ReactNode }) {
  const { session, isWaiting, ask } = useSession();
  if (isWaiting) return null;
  if (session?.mode === 'hosted' && !session.account) {
    return <SignInScreen invitationNeeded={session.invitationNeeded} onEntered={ask} />;
  }
  return children;
}
