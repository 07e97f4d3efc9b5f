import { randomInt, randomUUID } from 'node:crypto';
import { networkInterfaces } from 'node:os';
import { Router } from 'express';
import { rateLimit } from 'express-rate-limit';
import QRCode from 'qrcode';
import { hashSecret, newSecret, requireHost, requireVisitor, SESSION_COOKIE, visitorOf } from '../access.ts';
import { ProblemError } from '../api/problem.ts';
import { pairingCreateSchema, pairingRedeemSchema, type Pairing } from '../api/schemas.ts';
import { getPiece } from '../pieces/pieceStore.ts';
import type { Services } from '../services.ts';

const CODE_MINUTES = 5;
const PHONE_DAYS = 30;
/** No vowels (no words) and nothing that looks like something else; 29^10 codes, alive five minutes. */
const CODE_LETTERS = '23456789BCDFGHJKLMNPQRSTVWXYZ';
const CODE_LENGTH = 10;

/**
 * Pairing a phone with the computer: the computer shows a one-time code, the phone redeems it for a cookie.
 *
 * @param port where the server listens, for the address in the QR code
 */
export function pairingRoutes(services: Services, options: { shared: boolean; port: () => number }): Router {
  const { db } = services.database;
  const router = Router();

  router.post('/pairings', requireVisitor, requireHost, async (req, res) => {
    const { pieceId } = pairingCreateSchema.parse(req.body ?? {});
    const address = localNetworkAddress();
    if (!options.shared || !address) throw new ProblemError('not-shared');
    const { ownerId } = visitorOf(res);
    if (pieceId) await getPiece(db, { ownerId, id: pieceId });
    const code = Array.from({ length: CODE_LENGTH }, () => CODE_LETTERS[randomInt(CODE_LETTERS.length)]).join(
      '',
    );
    const expiresAt = new Date(Date.now() + CODE_MINUTES * 60_000);
    await db
      .insertInto('pairings')
      .values({
        id: randomUUID(),
        owner_id: ownerId,
        piece_id: pieceId,
        code_hash: hashSecret(code),
        session_hash: null,
        expires_at: expiresAt,
      })
      .execute();
    // In the fragment, so that the code is in no log and no Referer header.
    const url = `http://${address}:${options.port()}/#/pair/${code}`;
    const qrSvg = await QRCode.toString(url, { type: 'svg', margin: 2, errorCorrectionLevel: 'M' });
    res.status(201).json({ code, url, qrSvg, expiresAt: expiresAt.toISOString() } satisfies Pairing);
  });

  const slowGuessing = rateLimit({
    windowMs: 60_000,
    limit: 10,
    standardHeaders: 'draft-8',
    legacyHeaders: false,
    handler: () => {
      throw new ProblemError('too-many-requests', { retryAfterSeconds: 60 });
    },
  });
  router.post('/pairings/redeem', slowGuessing, async (req, res) => {
    const { code } = pairingRedeemSchema.parse(req.body);
    const token = newSecret(32);
    // One statement, so that a code cannot be used twice at once.
    const redeemed = await db
      .updateTable('pairings')
      .set({
        code_hash: null,
        session_hash: hashSecret(token),
        expires_at: new Date(Date.now() + PHONE_DAYS * 86_400_000),
      })
      .where('code_hash', '=', hashSecret(code.trim().toUpperCase()))
      .where('expires_at', '>', new Date())
      .returning('piece_id')
      .executeTakeFirst();
    if (!redeemed) throw new ProblemError('pairing-invalid');
    res.cookie(SESSION_COOKIE, token, {
      httpOnly: true,
      sameSite: 'strict',
      secure: req.secure,
      maxAge: PHONE_DAYS * 86_400_000,
    });
    res.json({ pieceId: redeemed.piece_id });
  });

  router.delete('/pairings', requireVisitor, requireHost, async (_req, res) => {
    await db.deleteFrom('pairings').where('owner_id', '=', visitorOf(res).ownerId).execute();
    res.status(204).end();
  });
  return router;
}

/** This computer's address on the home network (a private IPv4 address, RFC 1918), or null. */
function localNetworkAddress(): string | null {
  const all = Object.values(networkInterfaces()).flatMap((one) => one ?? []);
  const usable = all.filter(({ family, internal }) => family === 'IPv4' && !internal);
  const isPrivate = ({ address }: { address: string }): boolean =>
    /^(10\.|192\.168\.|172\.(1[6-9]|2\d|3[01])\.)/.test(address);
  return (usable.find(isPrivate) ?? usable[0])?.address ?? null;
}
