import { z } from 'zod';
import { planSpecSchema } from '../../calc/index.ts';
import packageJson from '../../package.json' with { type: 'json' };
import * as schemas from './schemas.ts';

type Json = { [key: string]: unknown };
export interface OpenApiDocument {
  openapi: '3.1.0';
  info: Json;
  paths: Record<string, Record<string, Json>>;
  components: { schemas: Record<string, Json> };
}

type Method = 'get' | 'post' | 'patch' | 'delete';
interface RouteText {
  summary: string;
  body?: z.ZodType;
  /** Name of the form field that carries a file. */
  file?: string;
  /** What else the form may carry, by field, with what it is for. */
  alsoInForm?: Record<string, string>;
  query?: z.ZodObject;
  /** Status and what it carries; a string is a media type. */
  gives: [status: number, content: z.ZodType | string | null];
  problems?: number[];
}

const widthQuery = schemas.imageQuerySchema;
const id = z.uuid();

/** Every route under `/api/v1`, in the order of the documentation. */
function routesOf(named: Record<string, z.ZodType>): [Method, string, string, RouteText][] {
  const { Session, Photo, AdmittedPhoto, Sample, MeasurementRequest, MeasurementJob, PlanSpec, Plan } = named;
  const {
    SampleRequest,
    PieceSummary,
    Piece,
    PieceCreate,
    PiecePatch,
    Check,
    CheckCreate,
    PairingCreate,
    Pairing,
    PairingRedeem,
    PairingRedeemed,
    Account,
    AccountCreate,
    AccountDelete,
    PasswordChange,
    SignIn,
  } = named;
  return [
    [
      'get',
      '/session',
      'Session',
      { summary: 'How this server runs, and its limits', gives: [200, Session!] },
    ],
    [
      'post',
      '/account',
      'Accounts',
      {
        summary: 'Make an account on a hosted server, and sign in',
        body: AccountCreate!,
        gives: [201, Account!],
        problems: [403, 404, 409, 422, 429],
      },
    ],
    [
      'patch',
      '/account',
      'Accounts',
      {
        summary: 'Change the password; every other session ends',
        body: PasswordChange!,
        gives: [204, null],
        problems: [401, 403, 404, 422, 429],
      },
    ],
    [
      'delete',
      '/account',
      'Accounts',
      {
        summary: 'Delete the account with all its pieces and photos, at once and for good',
        body: AccountDelete!,
        gives: [204, null],
        problems: [401, 403, 404, 422, 429],
      },
    ],
    [
      'post',
      '/sign-in',
      'Accounts',
      {
        summary: 'Sign in to a hosted server; the session is a cookie',
        body: SignIn!,
        gives: [200, Account!],
        problems: [403, 404, 422, 429],
      },
    ],
    [
      'post',
      '/sign-out',
      'Accounts',
      { summary: 'End the session', gives: [204, null], problems: [401, 404] },
    ],
    [
      'post',
      '/photos',
      'Photos',
      {
        summary: 'Keep a photo, without its metadata, and measure it at once if asked to',
        file: 'photo',
        alsoInForm: {
          measure: 'MeasureOptions as JSON: a measurement is begun with them, and comes along in the answer',
        },
        gives: [201, AdmittedPhoto!],
        problems: [400, 413, 422, 503, 507],
      },
    ],
    [
      'get',
      '/photos/{id}',
      'Photos',
      { summary: 'Size and age of a kept photo', gives: [200, Photo!], problems: [404] },
    ],
    [
      'get',
      '/photos/{id}/image',
      'Photos',
      { summary: 'The picture, upright', query: widthQuery, gives: [200, 'image/jpeg'], problems: [404] },
    ],
    [
      'delete',
      '/photos/{id}',
      'Photos',
      { summary: 'Delete a photo that no piece uses', gives: [204, null], problems: [404, 409] },
    ],
    [
      'get',
      '/samples',
      'Samples',
      { summary: 'Photos that come with the program', gives: [200, z.array(Sample!)] },
    ],
    [
      'get',
      '/samples/{name}/image',
      'Samples',
      { summary: 'A sample’s picture', query: widthQuery, gives: [200, 'image/jpeg'], problems: [404] },
    ],
    [
      'post',
      '/samples/{name}/photo',
      'Samples',
      {
        summary: 'One’s copy of a sample, made when it is first asked for, and its measurement if asked for',
        body: SampleRequest!,
        gives: [200, AdmittedPhoto!],
        problems: [404, 422],
      },
    ],
    [
      'post',
      '/measurements',
      'Measuring',
      {
        summary: 'Ask for a photo to be measured',
        body: MeasurementRequest!,
        gives: [202, MeasurementJob!],
        problems: [410, 422, 503],
      },
    ],
    [
      'get',
      '/measurements/{id}',
      'Measuring',
      { summary: 'State and answer of a measuring job', gives: [200, MeasurementJob!], problems: [404] },
    ],
    [
      'get',
      '/measurements/{id}/events',
      'Measuring',
      {
        summary: 'The same as server-sent events named “job”, until it is over',
        gives: [200, 'text/event-stream'],
        problems: [404],
      },
    ],
    [
      'get',
      '/measurements/{id}/overlay',
      'Measuring',
      {
        summary: 'The photo with what was found drawn over it',
        query: widthQuery,
        gives: [200, 'image/png'],
        problems: [404, 409],
      },
    ],
    [
      'delete',
      '/measurements/{id}',
      'Measuring',
      { summary: 'Cancel a job that is not over', gives: [200, MeasurementJob!], problems: [404] },
    ],
    [
      'post',
      '/plans',
      'Planning',
      {
        summary: 'Work out a plan without keeping it',
        body: PlanSpec!,
        gives: [200, Plan!],
        problems: [422],
      },
    ],
    [
      'get',
      '/pieces',
      'Pieces',
      {
        summary: 'All pieces, last changed first',
        query: z.object({ deleted: z.enum(['true', 'false']).optional() }),
        gives: [200, z.array(PieceSummary!)],
      },
    ],
    [
      'post',
      '/pieces',
      'Pieces',
      { summary: 'Start a piece', body: PieceCreate!, gives: [201, Piece!], problems: [410, 422] },
    ],
    [
      'post',
      '/pieces/import',
      'Pieces',
      {
        summary: 'Take in a piece file as a new piece',
        file: 'piece',
        gives: [201, Piece!],
        problems: [413, 422],
      },
    ],
    [
      'get',
      '/pieces/{id}',
      'Pieces',
      { summary: 'A piece with its checks', gives: [200, Piece!], problems: [404] },
    ],
    [
      'patch',
      '/pieces/{id}',
      'Pieces',
      {
        summary: 'Change a piece; the revision guards against overwriting',
        body: PiecePatch!,
        gives: [200, Piece!],
        problems: [404, 409, 410, 422],
      },
    ],
    [
      'delete',
      '/pieces/{id}',
      'Pieces',
      {
        summary: 'Delete a piece; it can be restored for 30 days',
        gives: [200, PieceSummary!],
        problems: [404],
      },
    ],
    [
      'post',
      '/pieces/{id}/restore',
      'Pieces',
      { summary: 'Undo the deleting of a piece', gives: [200, Piece!], problems: [404] },
    ],
    [
      'get',
      '/pieces/{id}/plan',
      'Pieces',
      {
        summary: 'The plan that follows from the piece’s specification',
        gives: [200, Plan!],
        problems: [404],
      },
    ],
    [
      'get',
      '/pieces/{id}/rows.csv',
      'Pieces',
      { summary: 'Rows with their colours', gives: [200, 'text/csv'], problems: [404] },
    ],
    [
      'get',
      '/pieces/{id}/yarn.csv',
      'Pieces',
      { summary: 'Yarn per colour', gives: [200, 'text/csv'], problems: [404] },
    ],
    [
      'get',
      '/pieces/{id}/export',
      'Pieces',
      { summary: 'The piece and its photos as one file', gives: [200, 'application/zip'], problems: [404] },
    ],
    [
      'post',
      '/pieces/{id}/checks',
      'Checks',
      {
        summary: 'Keep a mid-project check',
        body: CheckCreate!,
        gives: [201, Check!],
        problems: [404, 410, 422],
      },
    ],
    [
      'delete',
      '/pieces/{id}/checks/{checkId}',
      'Checks',
      { summary: 'Delete a check', gives: [200, Check!], problems: [404] },
    ],
    [
      'post',
      '/pieces/{id}/checks/{checkId}/restore',
      'Checks',
      { summary: 'Undo the deleting of a check', gives: [200, Check!], problems: [404] },
    ],
    [
      'get',
      '/measuring-sheet.pdf',
      'Measuring sheet',
      {
        summary: 'The printable measuring sheet',
        query: schemas.measuringSheetQuerySchema,
        gives: [200, 'application/pdf'],
        problems: [422],
      },
    ],
    [
      'post',
      '/pairings',
      'Pairing',
      {
        summary: 'Show a one-time code for a phone on the home network',
        body: PairingCreate!,
        gives: [201, Pairing!],
        problems: [403, 409],
      },
    ],
    [
      'post',
      '/pairings/redeem',
      'Pairing',
      {
        summary: 'Pair this phone with a code',
        body: PairingRedeem!,
        gives: [200, PairingRedeemed!],
        problems: [403, 429],
      },
    ],
    [
      'delete',
      '/pairings',
      'Pairing',
      { summary: 'Sign every phone out', gives: [204, null], problems: [403] },
    ],
  ];
}

/** What is sent, where defaults may be left out; everything else is what is given. */
const SENT = new Set([
  'MeasurementRequest',
  'PlanSpec',
  'PieceCreate',
  'PiecePatch',
  'CheckCreate',
  'PairingCreate',
  'PairingRedeem',
  'AccountCreate',
  'AccountDelete',
  'PasswordChange',
  'SignIn',
]);

const NAMED: Record<string, z.ZodType> = {
  Problem: schemas.problemSchema,
  Session: schemas.sessionSchema,
  Photo: schemas.photoSchema,
  AdmittedPhoto: schemas.admittedPhotoSchema,
  Sample: schemas.sampleSchema,
  SampleRequest: schemas.sampleRequestSchema,
  MeasureOptions: schemas.measureOptionsSchema,
  Measurement: schemas.measurementSchema,
  MeasurementRequest: schemas.measurementRequestSchema,
  MeasurementJob: schemas.measurementJobSchema,
  PlanSpec: planSpecSchema,
  Plan: z.record(z.string(), z.unknown()),
  Swatch: schemas.swatchSchema,
  Check: schemas.checkSchema,
  CheckCreate: schemas.checkCreateSchema,
  Piece: schemas.pieceSchema,
  PieceSummary: schemas.pieceSummarySchema,
  PieceCreate: schemas.pieceCreateSchema,
  PiecePatch: schemas.piecePatchSchema,
  PairingCreate: schemas.pairingCreateSchema,
  Pairing: schemas.pairingSchema,
  PairingRedeem: schemas.pairingRedeemSchema,
  PairingRedeemed: schemas.pairingRedeemedSchema,
  Account: schemas.accountSchema,
  AccountCreate: schemas.accountCreateSchema,
  AccountDelete: schemas.accountDeleteSchema,
  PasswordChange: schemas.passwordChangeSchema,
  SignIn: schemas.signInSchema,
};

/**
 * The OpenAPI 3.1 document of the API, made from the very schemas that check the requests.
 */
export function openApiDocument(): OpenApiDocument {
  const registry = z.registry<{ id: string }>();
  for (const [name, schema] of Object.entries(NAMED)) registry.add(schema, { id: name });
  const uri = (name: string): string => `#/components/schemas/${name}`;
  const sent = z.toJSONSchema(registry, { uri, io: 'input', unrepresentable: 'any' }).schemas;
  const given = z.toJSONSchema(registry, { uri, io: 'output', unrepresentable: 'any' }).schemas;
  const components: Record<string, Json> = {};
  for (const name of Object.keys(NAMED)) {
    const { $schema: _schema, $id: _id, ...schema } = (SENT.has(name) ? sent : given)[name] as Json;
    components[name] = schema;
  }
  const refTo = (schema: z.ZodType): Json => {
    const { id: name } = registry.get(schema) ?? {};
    if (name) return { $ref: uri(name) };
    if (schema instanceof z.ZodArray) return { type: 'array', items: refTo(schema.element as z.ZodType) };
    const { $schema: _schema, ...inline } = z.toJSONSchema(schema, { io: 'input' }) as Json;
    return inline;
  };

  const paths: OpenApiDocument['paths'] = {};
  for (const [method, path, tag, text] of routesOf(NAMED)) {
    const [status, content] = text.gives;
    const inPath = [...path.matchAll(/\{(\w+)\}/g)].map(([, name]) => ({
      name,
      in: 'path',
      required: true,
      schema: name === 'name' ? { type: 'string' } : refTo(id),
    }));
    const inQuery = Object.entries(text.query?.shape ?? {}).map(([name, schema]) => ({
      name,
      in: 'query',
      required: false,
      schema: refTo(schema as z.ZodType),
    }));
    const file = text.file && {
      type: 'object',
      required: [text.file],
      properties: {
        ...Object.fromEntries(
          Object.entries(text.alsoInForm ?? {}).map(([name, description]) => [
            name,
            { type: 'string', description },
          ]),
        ),
        [text.file]: { type: 'string', contentMediaType: 'application/octet-stream' },
      },
    };
    const body = file
      ? { 'multipart/form-data': { schema: file } }
      : text.body && { 'application/json': { schema: refTo(text.body) } };
    const answer =
      content === null
        ? {}
        : typeof content === 'string'
          ? { content: { [content]: { schema: { type: 'string' } } } }
          : { content: { 'application/json': { schema: refTo(content) } } };
    const problem = {
      description: 'What went wrong, and what to do about it',
      content: { 'application/problem+json': { schema: refTo(schemas.problemSchema) } },
    };
    (paths[`/api/v1${path}`] ??= {})[method] = {
      tags: [tag],
      summary: text.summary,
      operationId: `${method} ${path}`.replaceAll(/[^\w]+(\w?)/g, (_, letter: string) =>
        letter.toUpperCase(),
      ),
      ...(inPath.length + inQuery.length > 0 ? { parameters: [...inPath, ...inQuery] } : {}),
      ...(body ? { requestBody: { required: true, content: body } } : {}),
      responses: {
        [status]: { description: text.summary, ...answer },
        ...Object.fromEntries((text.problems ?? []).map((code) => [code, problem])),
      },
    };
  }
  return {
    openapi: '3.1.0',
    info: {
      title: 'swatch-gauge',
      version: packageJson.version,
      description:
        'Measure a swatch from a photo and plan a piece from its gauge. Every request that changes something needs the header “X-Swatch-Gauge: 1”. Errors are problem details (RFC 9457).',
      license: { name: packageJson.license, identifier: packageJson.license },
    },
    paths,
    components: { schemas: components },
  };
}
