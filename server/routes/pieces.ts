import { Router, type Request, type RequestHandler, type Response } from 'express';
import { planPiece, type Plan, type PlanSpec } from '../../calc/index.ts';
import { visitorOf } from '../access.ts';
import { requireRoom } from '../accounts/usage.ts';
import { ProblemError } from '../api/problem.ts';
import { checkCreateSchema, pieceCreateSchema, piecePatchSchema } from '../api/schemas.ts';
import { exportPiece } from '../pieces/exportPiece.ts';
import { importPiece } from '../pieces/importPiece.ts';
import {
  addCheck,
  changePiece,
  createPiece,
  deletePiece,
  getPiece,
  listPieces,
  restorePiece,
  setCheckDeleted,
  type PieceKey,
} from '../pieces/pieceStore.ts';
import { rowsCsv } from '../pieces/rowsCsv.ts';
import { yarnCsv } from '../pieces/yarnCsv.ts';
import type { Services } from '../services.ts';
import { receiveFile } from './receiveFile.ts';
import { idOf } from './requestParts.ts';

/** Pieces with their plan, yarn and checks; as one file out and in again. */
export function pieceRoutes(services: Services): Router {
  const { db } = services.database;
  const router = Router();
  const keyOf = (req: Request, res: Response): PieceKey => ({
    ownerId: visitorOf(res).ownerId,
    id: idOf(req),
  });
  const { receive, read } = receiveFile(services, {
    field: 'piece',
    largestBytes: services.config.largestPieceFileBytes,
    tooLarge: 'file-too-large',
    missing: 'file-unusable',
  });

  const requireRoomForBody: RequestHandler = async (req, res, next) => {
    const bytes = Number(req.get('content-length') ?? 0);
    await requireRoom(db, services.config, visitorOf(res).ownerId, bytes);
    next();
  };

  router.get('/pieces', async (req, res) => {
    res.json(await listPieces(db, visitorOf(res).ownerId, req.query.deleted === 'true'));
  });
  router.post('/pieces', requireRoomForBody, async (req, res) => {
    const piece = await createPiece(db, visitorOf(res).ownerId, pieceCreateSchema.parse(req.body));
    res.status(201).location(`/api/v1/pieces/${piece.id}`).json(piece);
  });
  router.post('/pieces/import', requireRoomForBody, receive, async (req, res) => {
    const piece = await importPiece(services, visitorOf(res).ownerId, await read(req));
    res.status(201).location(`/api/v1/pieces/${piece.id}`).json(piece);
  });
  router.get('/pieces/:id', async (req, res) => {
    res.json(await getPiece(db, keyOf(req, res)));
  });
  router.patch('/pieces/:id', requireRoomForBody, async (req, res) => {
    res.json(await changePiece(db, keyOf(req, res), piecePatchSchema.parse(req.body)));
  });
  router.delete('/pieces/:id', async (req, res) => {
    res.json(await deletePiece(db, keyOf(req, res)));
  });
  router.post('/pieces/:id/restore', async (req, res) => {
    res.json(await restorePiece(db, keyOf(req, res)));
  });

  router.post('/pieces/:id/checks', requireRoomForBody, async (req, res) => {
    res.status(201).json(await addCheck(db, keyOf(req, res), checkCreateSchema.parse(req.body)));
  });
  router.delete('/pieces/:id/checks/:checkId', async (req, res) => {
    res.json(await setCheckDeleted(db, keyOf(req, res), idOf(req, 'checkId'), true));
  });
  router.post('/pieces/:id/checks/:checkId/restore', async (req, res) => {
    res.json(await setCheckDeleted(db, keyOf(req, res), idOf(req, 'checkId'), false));
  });

  const planOf = async (
    req: Request,
    res: Response,
  ): Promise<{ spec: PlanSpec; plan: Plan; name: string }> => {
    const { plan: spec, name } = await getPiece(db, keyOf(req, res));
    if (!spec) throw new ProblemError('no-plan');
    return { spec: spec as unknown as PlanSpec, plan: planPiece(spec as unknown as PlanSpec), name };
  };
  router.get('/pieces/:id/plan', async (req, res) => {
    res.json((await planOf(req, res)).plan);
  });
  router.get('/pieces/:id/rows.csv', async (req, res) => {
    const { spec, plan, name } = await planOf(req, res);
    res
      .attachment(`${fileName(name)}-rows.csv`)
      .type('text/csv')
      .send(rowsCsv(spec, plan));
  });
  router.get('/pieces/:id/yarn.csv', async (req, res) => {
    const { plan, name } = await planOf(req, res);
    res
      .attachment(`${fileName(name)}-yarn.csv`)
      .type('text/csv')
      .send(yarnCsv(plan));
  });
  router.get('/pieces/:id/export', async (req, res) => {
    const piece = await getPiece(db, keyOf(req, res));
    const zip = await exportPiece(services, visitorOf(res).ownerId, piece);
    res
      .attachment(`${fileName(piece.name)}.piece.zip`)
      .type('application/zip')
      .send(zip);
  });
  return router;
}

/** A name for a download that every system can keep. */
const fileName = (name: string): string =>
  name
    .normalize('NFKD')
    .replace(/[^\p{L}\p{N}]+/gu, '-')
    .replace(/^-+|-+$/g, '')
    .slice(0, 60) || 'piece';
